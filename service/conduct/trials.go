package conduct

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"time"

	"evenrig/service/trial"
)

// TrialView is a trial as its club's members see it. ActiveAnglers is how many still take part: with fewer than 3 the
// trial cannot hide its running effect. Closing is the number of the closing analysis that stands, 0 before there is one. Origin is where a
// copy was read from, nil for a trial of this server. CardsIn is the organiser's word that every paper card is in, nil before it; Awaits is
// why a closed trial that may hold cards on their way cannot be locked yet, nil where nothing is in the way.
type TrialView struct {
	Trial         trial.Trial
	History       []trial.StateChange
	ActiveAnglers int
	Closing       int
	Origin        *trial.CopyOrigin
	CardsIn       *trial.CardsIn
	Awaits        error
}

// FewestToHide is the number of active anglers below which everybody can work out the others' catches.
const FewestToHide = 3

// CreateTrial drafts a trial. A draft may have faults; registering it may not.
func (s *Service) CreateTrial(ctx context.Context, actor trial.Actor, club trial.ID, p trial.Protocol) (TrialView, error) {
	t := trial.Trial{
		ID: s.newID(), ClubID: club, Title: p.Title, State: trial.Draft, Design: p.Design, Source: p.Source,
		Revision: 1, ProtocolVersion: 1, CreatedAt: s.now(),
	}
	p.Nonce = "" // registering draws it
	text, err := canonical(p)
	if err != nil {
		return TrialView{}, err
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.WriteProtocol, "club"); err != nil {
			return err
		}
		if err := draftable(p, text); err != nil {
			return err
		}
		if err := tx.InsertTrial(ctx, t); err != nil {
			return err
		}
		return tx.SaveProtocol(ctx, t.ID, 1, p, text)
	})
	return TrialView{Trial: t}, err
}

// draftable refuses only what a draft's row could not hold: an unknown design or source, a text with a NUL.
func draftable(p trial.Protocol, text []byte) error {
	var f trial.Faults
	if bytes.Contains(text, []byte(`\u0000`)) {
		f.Add("protocol", "has a text with the character U+0000; accepted: plain text")
	}
	trial.OneOf(&f, "design", p.Design, trial.Paired, trial.PairedByOuting)
	trial.OneOf(&f, "source", p.Source, trial.Drawn, trial.Recorded)
	return f.Err("protocol.invalid", "the protocol has faults")
}

// Trials lists a club's trials; abandoned ones stay listed.
func (s *Service) Trials(ctx context.Context, actor trial.Actor, club trial.ID, page trial.Page) (list []trial.Trial, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inClub(ctx, tx, actor, club, trial.ReadTrial, "club"); err != nil {
			return err
		}
		list, err = tx.TrialsOf(ctx, club, page)
		return err
	})
	return list, err
}

// Trial returns a trial with its history.
func (s *Service) Trial(ctx context.Context, actor trial.Actor, id trial.ID) (view TrialView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if view.Trial, err = inTrial(ctx, tx, actor, id, trial.ReadTrial); err != nil {
			return err
		}
		if view.History, err = tx.StateChangesOf(ctx, id); err != nil {
			return err
		}
		if view.Trial.IsCopy() {
			origin, err := tx.OriginOf(ctx, id)
			if err != nil {
				return err
			}
			view.Origin = &origin
		}
		enrolments, err := tx.EnrolmentsOf(ctx, id)
		if err != nil {
			return err
		}
		for _, e := range enrolments {
			if e.Active() == nil {
				view.ActiveAnglers++
			}
		}
		if view.CardsIn, err = tx.CardsInOf(ctx, id); err != nil {
			return err
		}
		if view.Trial.State == trial.Closed && view.Trial.Source == trial.Drawn {
			// What waits is said, not failed with.
			if view.Awaits = awaitCards(ctx, tx, view.Trial, s.now()); view.Awaits != nil && trial.KindOf(view.Awaits) != trial.Conflict {
				return view.Awaits
			}
		}
		analyses, err := tx.AnalysesOf(ctx, id)
		if err != nil {
			return err
		}
		closing := slices.IndexFunc(analyses, func(a trial.Analysis) bool {
			return view.Trial.LockedAt != nil && !a.RequestedAt.Before(*view.Trial.LockedAt) && a.State != trial.Withdrawn
		})
		if closing >= 0 {
			view.Closing = analyses[closing].N
		}
		return nil
	})
	return view, err
}

// ProtocolView is a protocol with what a reader may need to quote it.
type ProtocolView struct {
	Protocol    trial.Protocol
	Version     int
	Revision    int
	Fingerprint trial.Digest
	Canonical   []byte
}

// Protocol returns a trial's current protocol. Fingerprint is the SHA-256 of its canonical JSON.
func (s *Service) Protocol(ctx context.Context, actor trial.Actor, id trial.ID) (view ProtocolView, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		t, err := inTrial(ctx, tx, actor, id, trial.ReadTrial)
		if err != nil {
			return err
		}
		view.Version, view.Revision = t.ProtocolVersion, t.Revision
		view.Protocol, view.Canonical, err = tx.ProtocolBy(ctx, id, t.ProtocolVersion)
		return err
	})
	view.Fingerprint = sha256.Sum256(view.Canonical)
	return view, err
}

// WriteProtocol replaces a draft's protocol; seen is the revision that the organiser last read.
func (s *Service) WriteProtocol(ctx context.Context, actor trial.Actor, id trial.ID, seen int, p trial.Protocol) (ProtocolView, error) {
	p.Nonce = ""
	text, err := canonical(p)
	if err != nil {
		return ProtocolView{}, err
	}
	view := ProtocolView{Protocol: p, Version: 1, Fingerprint: sha256.Sum256(text), Canonical: text}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.WriteProtocol); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		if t.State != trial.Draft {
			return trial.Fail(trial.Conflict, "trial.state", "the trial is %s; a registered protocol never changes", t.State)
		}
		if err := trial.CheckVersion("protocol", seen, t.Revision); err != nil {
			return err
		}
		if err := draftable(p, text); err != nil {
			return err
		}
		t.Revision, t.Title, t.Design, t.Source = t.Revision+1, p.Title, p.Design, p.Source
		view.Revision = t.Revision
		if err := tx.UpdateTrial(ctx, t); err != nil {
			return err
		}
		return tx.SaveProtocol(ctx, id, 1, p, text)
	})
	return view, err
}

// MoveTrial takes a trial to its next state. Registering validates the protocol, fixes its fingerprint and commits to a
// sealed seed; locking fixes the records, reveals the seed and enqueues the closing analysis. It returns the trial as
// it then stands.
func (s *Service) MoveTrial(ctx context.Context, actor trial.Actor, id trial.ID, to trial.State, reason string) (TrialView, error) {
	now, seed, nonce := s.now(), s.bytes32(), s.bytes32()
	salts := trial.Parts{PublicSalt: s.bytes32(), PrivateSalt: s.bytes32()}
	sealed, err := s.key.seal(s.random, id, seed)
	if err != nil {
		return TrialView{}, err
	}
	if to == trial.Locked {
		if err := s.countAhead(ctx, actor, id, trial.MoveTrial); err != nil {
			return TrialView{}, err
		}
	}
	err = s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.MoveTrial); err != nil {
			return err
		}
		t, err := tx.LockTrial(ctx, id)
		if err != nil {
			return err
		}
		p, _, err := tx.ProtocolBy(ctx, id, t.ProtocolVersion)
		if err != nil {
			return err
		}
		if err := t.Move(to, reason, p, now); err != nil {
			return err
		}
		if to == trial.Locked {
			if err := awaitCards(ctx, tx, t, now); err != nil {
				return err
			}
		}
		from := t.State
		t.State = to
		switch to {
		case trial.Registered:
			p.Nonce = hex.EncodeToString(nonce[:])
			if err := s.register(ctx, tx, &t, p, seed, sealed, now); err != nil {
				return err
			}
		case trial.Closed:
			t.ClosedAt = &now
		case trial.Locked:
			if err := s.reveal(&t, now); err != nil {
				return err
			}
		}
		return s.saveMove(ctx, tx, t, trial.StateChange{TrialID: id, At: now, By: actor.AccountID, From: from, To: to, Reason: reason}, salts)
	})
	if err != nil {
		return TrialView{}, err
	}
	return s.Trial(ctx, actor, id)
}

func (s *Service) register(ctx context.Context, tx trial.Tx, t *trial.Trial, p trial.Protocol, seed [32]byte, sealed []byte, now time.Time) error {
	if err := p.Validate(); err != nil {
		return err
	}
	text, err := canonical(p)
	if err != nil {
		return err
	}
	if err := tx.SaveProtocol(ctx, t.ID, t.ProtocolVersion, p, text); err != nil {
		return err
	}
	t.RegisteredAt, t.Fingerprint = &now, sha256.Sum256(text)
	if t.Source == trial.Drawn {
		t.Scheme, t.Commitment, t.SealedSeed = trial.AllocationScheme, trial.Commitment(seed, text), sealed
	}
	if err := noteRepeat(ctx, tx, *t, p); err != nil {
		return err
	}
	return tx.InsertHead(ctx, trial.Head{TrialID: t.ID, ChainID: t.ID})
}

func (s *Service) reveal(t *trial.Trial, now time.Time) error {
	t.LockedAt = &now
	if t.Source == trial.Recorded {
		return nil
	}
	seed, err := s.key.open(t.ID, t.SealedSeed)
	if err != nil {
		return err
	}
	t.Seed = (*trial.Digest)(&seed)
	return nil
}

// saveMove writes a change of state into the organiser's chain and closes it with a checkpoint. Taking every head of
// the trial waits for intake under way, and intake that comes later sees the new state.
func (s *Service) saveMove(ctx context.Context, tx trial.Tx, t trial.Trial, change trial.StateChange, parts trial.Parts) error {
	var err error
	public, private := fields{"from": change.From, "to": change.To, "at": at(change.At)}, fields{"by": change.By}
	if change.To == trial.Abandoned {
		public["reason"] = change.Reason // it stays listed for everybody
	} else {
		private["reason"] = change.Reason
	}
	if change.To == trial.Registered {
		public["protocol"], public["commitment"], public["scheme"] = t.Fingerprint, t.Commitment, t.Scheme
		p, _, err := tx.ProtocolBy(ctx, t.ID, t.ProtocolVersion)
		if err != nil {
			return err
		}
		if public["plan"], err = planDigest(p); err != nil {
			return err
		}
	}
	if parts.Public, err = canonical(public); err != nil {
		return err
	}
	if parts.Private, err = canonical(private); err != nil {
		return err
	}
	if change.From == trial.Draft && change.To == trial.Abandoned {
		// A draft has no chain yet.
		if err := tx.UpdateTrial(ctx, t); err != nil {
			return err
		}
		return tx.InsertStateChange(ctx, change)
	}
	heads, err := tx.LockHeads(ctx, t.ID)
	if err != nil {
		return err
	}
	if err := tx.UpdateTrial(ctx, t); err != nil {
		return err
	}
	if err := tx.InsertStateChange(ctx, change); err != nil {
		return err
	}
	for i, h := range heads {
		if h.ChainID == t.ID {
			entry := h.Next(trial.LedgerState, t.ID, parts)
			heads[i] = entry.Head()
			if err := tx.Append(ctx, entry, parts); err != nil {
				return err
			}
		}
	}
	checkpoint, err := s.checkpoint(ctx, tx, t.ID, heads, change.At)
	if err != nil || change.To != trial.Locked {
		return err
	}
	_, err = s.enqueue(ctx, tx, t, checkpoint, change.By, change.At, 0)
	return err
}
