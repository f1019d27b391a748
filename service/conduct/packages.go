package conduct

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"evenrig/service/analysis"
	"evenrig/service/exchange"
	"evenrig/service/trial"
)

// Finding is one thing that was looked at in a package, and what came of it.
type Finding = exchange.Finding

// Copied is a trial that was read from a package, with what verifying the package came to. Created is false when the club had read the
// same package before; then nothing was changed.
type Copied struct {
	Trial    TrialView
	Findings exchange.Verdict
	Created  bool
}

// ReadPackage takes a package that was published anywhere into the club, as a trial that can be read and repeated, not changed: its
// rules, its result byte for byte, and where it came from. The package is verified first; one that does not agree is refused. The same
// package again changes nothing.
//
// Errors: Invalid for what is no package, and for one that does not agree, with a field for each part that does not; TooMany while
// another package is being read.
func (s *Service) ReadPackage(ctx context.Context, actor trial.Actor, club trial.ID, body io.Reader) (Copied, error) {
	err := s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		_, err := inClub(ctx, tx, actor, club, trial.ReadPackage, "club")
		return err
	})
	if err != nil {
		return Copied{}, err
	}
	done, err := s.readOne()
	if err != nil {
		return Copied{}, err
	}
	defer done()
	file, err := unnamedFile()
	if err != nil {
		return Copied{}, err
	}
	defer file.Close() //nolint:errcheck // it was only read
	copied, err := s.copyOf(file, body)
	if err != nil {
		return Copied{}, err
	}
	return s.saveCopy(ctx, actor, club, copied)
}

// copiedPackage is a verified package on its way into the database.
type copiedPackage struct {
	sum      trial.Digest
	facts    exchange.Facts
	plan     trial.Protocol
	text     []byte           // the plan's canonical JSON
	point    trial.Checkpoint // on which the result was computed
	analysis trial.Analysis
	verdict  exchange.Verdict
	findings []byte
}

// copyOf keeps the body in the file and verifies it.
func (s *Service) copyOf(file *os.File, body io.Reader) (c copiedPackage, err error) {
	hash := sha256.New()
	size, err := io.Copy(io.MultiWriter(file, hash), body)
	if err != nil {
		return c, fmt.Errorf("read a package: %w", err)
	}
	c.sum = trial.Digest(hash.Sum(nil))
	p, err := exchange.ReadPackage(file, size)
	if err != nil {
		return c, err
	}
	if c.verdict, err = exchange.Verify(p, exchange.VerifyOptions{ProgramVersion: s.program}); err != nil {
		return c, err
	}
	var f trial.Faults
	for _, finding := range c.verdict.Findings {
		if finding.Outcome == exchange.Disagrees {
			f.Add(finding.Part, "%s", finding.Text)
		}
	}
	if err := f.Err("package.disagrees", "the package does not agree with itself: somebody changed it, or it was damaged; nothing of it was kept"); err != nil {
		return c, err
	}
	if c.findings, err = json.Marshal(c.verdict); err != nil {
		return c, fmt.Errorf("encode a verdict: %w", err)
	}
	c.facts, c.text = p.Facts, p.Plan
	if err := json.Unmarshal(p.Plan, &c.plan); err != nil {
		return c, fmt.Errorf("decode a verified plan: %w", err)
	}
	for _, point := range p.Checkpoints {
		if point.N == p.Facts.Checkpoint {
			c.point = trial.Checkpoint{N: point.N, At: dayOf(point.Week, 1), Root: point.Root, Hash: point.Hash}
		}
	}
	c.analysis, err = storedAnalysis(p)
	return c, err
}

// storedAnalysis is a package's result as an analysis, byte for byte, with the counts that it rests on.
func storedAnalysis(p exchange.Package) (a trial.Analysis, err error) {
	in, err := p.Input()
	if err != nil {
		return a, err
	}
	if a.Input, err = analysis.Canonical(in); err != nil {
		return a, err
	}
	result, err := analysis.Decode(p.Result)
	if err != nil {
		return a, fmt.Errorf("decode a verified result: %w", err)
	}
	if err := a.Fingerprint.UnmarshalText([]byte(result.Fingerprint)); err != nil {
		return a, fmt.Errorf("fingerprint of a verified result: %w", err)
	}
	a.N, a.State, a.Checkpoint, a.Result = 1, trial.Done, p.Facts.Checkpoint, p.Result
	a.ProgramVersion, a.Settings, a.ProtocolVersion = p.Facts.ProgramVersion, json.RawMessage(`{}`), len(p.Versions)
	return a, nil
}

// dayOf is day 1 to 7 of a week as it is published. A verified package has no other texts there.
func dayOf(week string, day int) time.Time {
	at, _ := trial.WeekDay(week, day)
	return at
}

// saveCopy writes the trial, unless the club has it. Its id follows from club and package, so that of two at once one wins.
func (s *Service) saveCopy(ctx context.Context, actor trial.Actor, club trial.ID, c copiedPackage) (Copied, error) {
	now := s.now()
	id := s.derivedID(club.String(), "package", c.sum.String())
	f := c.facts
	closed, locked := dayOf(f.Closed, 1), dayOf(f.Locked, 1) // the day itself is not published
	t := trial.Trial{
		ID: id, ClubID: club, Title: f.Title, State: trial.Published, Design: f.Design, Source: f.Source, Revision: 1, ProtocolVersion: 1,
		Fingerprint: f.Fingerprint, Commitment: f.Commitment, Scheme: f.Scheme, CreatedAt: now, ClosedAt: &closed, LockedAt: &locked, Original: f.Trial,
	}
	if !f.Seed.IsZero() {
		t.Seed = &f.Seed
	}
	origin := trial.CopyOrigin{
		TrialID: id, Trial: f.Trial, Edition: f.Edition, Package: c.sum, Licence: f.Licence, Club: f.Club, ReadAt: now, ReadBy: actor.AccountID, Findings: c.findings,
	}
	c.analysis.TrialID, c.analysis.RequestedAt, c.analysis.RequestedBy, c.analysis.FinishedAt, c.analysis.ProtocolVersion = id, now, actor.AccountID, &now, 1
	copied := Copied{Findings: c.verdict}
	err := s.store.InTx(ctx, func(ctx context.Context, tx trial.Tx) error {
		copied.Created = false
		if _, err := inClub(ctx, tx, actor, club, trial.ReadPackage, "club"); err != nil {
			return err
		}
		if _, err := tx.TrialBy(ctx, id); trial.KindOf(err) != trial.NotFound {
			return err
		}
		copied.Created = true
		if err := tx.InsertTrial(ctx, t); err != nil {
			return err
		}
		if err := tx.SaveProtocol(ctx, id, 1, c.plan, c.text); err != nil {
			return err
		}
		if err := tx.InsertOrigin(ctx, origin); err != nil {
			return err
		}
		if err := tx.InsertAnalysis(ctx, c.analysis); err != nil {
			return err
		}
		c.point.TrialID = id
		return tx.InsertCheckpoint(ctx, c.point, nil)
	})
	if err != nil {
		return copied, err
	}
	copied.Trial, err = s.Trial(ctx, actor, id)
	return copied, err
}
