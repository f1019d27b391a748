package conduct

import (
	"context"
	"time"

	"evenrig/service/trial"
)

// rules are a registered trial's protocol in its versions, which never change and so are read once, the latest of those that
// were read, and who was lately seen to be a member who may keep records in the trial.
type rules struct {
	versions map[int]*trial.Protocol
	latest   int
	members  map[trial.ID]time.Time
}

// membershipStale is how long intake relies on a membership that it has seen.
const membershipStale = 5 * time.Second

// rulesOf returns the version of the trial's protocol that is in force.
func (s *Service) rulesOf(ctx context.Context, tx trial.ReadTx, t trial.Trial) (*trial.Protocol, error) {
	return s.rulesAt(ctx, tx, t, t.ProtocolVersion)
}

// rulesAt returns one version of the trial's protocol: an outing goes by the one that its phone carried.
func (s *Service) rulesAt(ctx context.Context, tx trial.ReadTx, t trial.Trial, version int) (*trial.Protocol, error) {
	s.mu.RLock()
	if known := s.rules[t.ID]; known != nil && known.versions[version] != nil {
		defer s.mu.RUnlock()
		return known.versions[version], nil
	}
	s.mu.RUnlock()
	p, _, err := tx.ProtocolBy(ctx, t.ID, version)
	if err != nil {
		return nil, err
	}
	if t.State == trial.Draft {
		return &p, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.rules) >= 1000 {
		clear(s.rules) // a bound, not a policy: a server has few running trials
	}
	known := s.rules[t.ID]
	if known == nil {
		known = &rules{versions: map[int]*trial.Protocol{}, members: map[trial.ID]time.Time{}}
		s.rules[t.ID] = known
	}
	known.versions[version], known.latest = &p, max(known.latest, version)
	return &p, nil
}

// lately returns the protocol by which a trial's catches are checked if the account was lately seen to be a member who may keep
// records in the trial, else nil. It may be a version behind: what checks a catch is never amended.
func (s *Service) lately(id, account trial.ID, now time.Time) *trial.Protocol {
	s.mu.RLock()
	defer s.mu.RUnlock()
	known := s.rules[id]
	if known == nil || now.Sub(known.members[account]).Abs() >= membershipStale { // the clock may have been put back
		return nil
	}
	return known.versions[known.latest]
}

// saw notes that the account is a member who may keep records in the trial.
func (s *Service) saw(id, account trial.ID, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if known := s.rules[id]; known != nil {
		known.members[account] = now
	}
}
