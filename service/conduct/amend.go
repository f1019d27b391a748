package conduct

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"evenrig/service/trial"
)

// Correction asks to change a record: the version that the angler last saw, the reason, and the new values as a JSON
// merge patch (RFC 7396) over the record's correctable fields.
type Correction struct {
	Seen   int
	Reason string
	Patch  json.RawMessage
}

// catchContent is what a correction may change of a catch.
type catchContent struct {
	Period        trial.ID       `json:"period"`
	TakenPattern  string         `json:"taken_pattern"`
	TakenPosition trial.Position `json:"taken_position"`
	Outcome       trial.Outcome  `json:"outcome"`
	FoulHooked    bool           `json:"foul_hooked"`
	RigIntact     bool           `json:"rig_intact"`
	DoubleID      *trial.ID      `json:"double_id"`
	Species       string         `json:"species"`
	Origin        trial.Origin   `json:"origin"`
	CaughtAt      time.Time      `json:"caught_at"`
	NotedAt       time.Time      `json:"noted_at"`
	Length        *trial.Measure `json:"length"`
	Welfare       []string       `json:"welfare"`
	Note          string         `json:"note"`
	Void          bool           `json:"void"`
}

// periodContent is what a correction may change of a period. What was drawn never changes.
type periodContent struct {
	Fished     trial.Arrangement `json:"fished"`
	Confirmed  bool              `json:"confirmed"`
	TestFly    int               `json:"test_fly"`
	ControlFly int               `json:"control_fly"`
	StartedAt  time.Time         `json:"started_at"`
}

// AmendCatch corrects one of the actor's catches. A catch can be corrected until its trial is locked.
func (s *Service) AmendCatch(ctx context.Context, actor trial.Actor, id, catch trial.ID, c Correction) (view CatchView, err error) {
	err = s.amend(ctx, actor, id, catch, c, func(ctx context.Context, tx trial.Tx, o *own) (amended, error) {
		stored, err := tx.CatchBy(ctx, id, catch)
		if err := o.typed(err, stored); err != nil {
			return amended{}, err
		}
		if err := trial.CheckVersion("catch", c.Seen, stored.Version); err != nil {
			return amended{}, err
		}
		before := contentOf(stored)
		after, changed, err := patch(before, c.Patch)
		if err != nil {
			return amended{}, err
		}
		next := after.onto(stored)
		next.Version++
		if err := cmp.Or(next.Check(*o.protocol, s.now()), o.takesMoved(stored.CaughtAt, next.CaughtAt)); err != nil {
			return amended{}, err
		}
		if next.PeriodID != stored.PeriodID {
			if next.Disputed, err = disputedIn(ctx, tx, stored); err != nil {
				return amended{}, err
			}
		}
		if slices.ContainsFunc(changed, func(c change) bool { return slices.Contains(flyFields, c.field) }) {
			if err := s.fits(ctx, tx, o, next); err != nil {
				return amended{}, err
			}
		}
		if err := tx.UpdateCatch(ctx, next); err != nil {
			return amended{}, err
		}
		views, err := viewCatches(ctx, tx, *o, []trial.Catch{next})
		if err != nil {
			return amended{}, err
		}
		view = views[0]
		return amended{trial.LedgerCatch, catch, stored.Version, changed}, nil
	})
	return view, err
}

// flyFields say what a fish took; a correction of none of them leaves standing what a corrected rig has made of it.
var flyFields = []string{"period", "taken_pattern", "taken_position", "caught_at"}

// disputedIn reports whether a fish is left out by agreement, itself or with its outing. It stays so when it is moved elsewhere.
func disputedIn(ctx context.Context, tx trial.ReadTx, c trial.Catch) (bool, error) {
	period, err := tx.PeriodBy(ctx, c.TrialID, c.PeriodID)
	if err != nil {
		return false, err
	}
	outing, err := tx.OutingBy(ctx, c.TrialID, period.OutingID)
	return c.In(outing).Disputed, err
}

// fits checks that a corrected catch lies in a period of the actor's and agrees with its arrangement.
func (s *Service) fits(ctx context.Context, tx trial.ReadTx, o *own, c trial.Catch) error {
	period, err := tx.PeriodBy(ctx, c.TrialID, c.PeriodID)
	if err := o.names(err, period.EnrolmentID, "period"); err != nil {
		return err
	}
	deviations, err := tx.DeviationsOf(ctx, c.TrialID, period.OutingID)
	if err != nil {
		return err
	}
	return c.Agrees(*o.protocol, period.ArrangementAt(c.CaughtAt, deviations))
}

// outingContent is what a correction may change of an outing. Its end can be corrected once it stands, by the same version.
type outingContent struct {
	Water            string         `json:"water"`
	StartedAt        time.Time      `json:"started_at"`
	StartedLate      bool           `json:"started_late"`
	WaterTemperature *trial.Measure `json:"water_temperature"`
	Conditions       string         `json:"conditions"`
	Note             string         `json:"note"`
	Void             bool           `json:"void"`
	EndedAt          *time.Time     `json:"ended_at,omitempty"`
	EndReason        *string        `json:"end_reason,omitempty"`
	NotLogged        *int           `json:"not_logged,omitempty"`
}

// AmendOuting corrects one of the actor's outings, its end too. One that was opened by mistake is marked void, and not counted
// among the blank ones; that is refused once something was fished in it.
func (s *Service) AmendOuting(ctx context.Context, actor trial.Actor, id, outing trial.ID, c Correction) (view OutingView, err error) {
	err = s.amend(ctx, actor, id, outing, c, func(ctx context.Context, tx trial.Tx, o *own) (amended, error) {
		stored, err := tx.OutingBy(ctx, id, outing)
		if err := o.mine(err, stored.EnrolmentID, "outing"); err != nil {
			return amended{}, err
		}
		if err := trial.CheckVersion("outing", c.Seen, stored.Version); err != nil {
			return amended{}, err
		}
		after, changed, err := patch(contentOfOuting(stored), c.Patch)
		if err != nil {
			return amended{}, err
		}
		next := after.onto(stored)
		next.Version++
		periods, err := tx.PeriodsOf(ctx, id, outing)
		if err != nil {
			return amended{}, err
		}
		if err := cmp.Or(next.Check(*o.protocol, s.now()), next.CheckEnd(s.now()), o.takesMoved(stored.StartedAt, next.StartedAt), next.Holds(periods)); err != nil {
			return amended{}, err
		}
		if err := tx.UpdateOuting(ctx, next); err != nil {
			return amended{}, err
		}
		if view, err = s.viewOuting(ctx, tx, o, next); err != nil {
			return amended{}, err
		}
		return amended{trial.LedgerOuting, outing, stored.Version, changed}, nil
	})
	return view, err
}

func contentOfOuting(o trial.Outing) outingContent {
	content := outingContent{
		Water: o.Water, StartedAt: o.StartedAt, StartedLate: o.StartedLate, WaterTemperature: o.WaterTemperature, Conditions: o.Conditions,
		Note: o.Note, Void: o.Void,
	}
	if o.End != nil {
		content.EndedAt, content.EndReason, content.NotLogged = &o.End.EndedAt, &o.End.Reason, &o.End.NotLogged
	}
	return content
}

func (content outingContent) onto(o trial.Outing) trial.Outing {
	o.Water, o.StartedAt, o.StartedLate, o.WaterTemperature = content.Water, content.StartedAt, content.StartedLate, content.WaterTemperature
	o.Conditions, o.Note, o.Void = content.Conditions, content.Note, content.Void
	if o.End != nil {
		end := *o.End
		end.EndedAt, end.Reason, end.NotLogged = *content.EndedAt, *content.EndReason, *content.NotLogged
		o.End = &end
	}
	return o
}

// AmendPeriod corrects one of the actor's periods. Correcting what was fished re-derives every catch of the period: what
// was given of each fly stays, the other is read anew, and what was drawn stays beside it.
func (s *Service) AmendPeriod(ctx context.Context, actor trial.Actor, id, period trial.ID, c Correction) (view PeriodView, err error) {
	err = s.amend(ctx, actor, id, period, c, func(ctx context.Context, tx trial.Tx, o *own) (amended, error) {
		stored, err := tx.PeriodBy(ctx, id, period)
		if err := o.mine(err, stored.EnrolmentID, "period"); err != nil {
			return amended{}, err
		}
		if err := trial.CheckVersion("period", c.Seen, stored.Version); err != nil {
			return amended{}, err
		}
		after, changed, err := patch(periodContent{stored.Fished, stored.Confirmed, stored.TestFly, stored.ControlFly, stored.StartedAt}, c.Patch)
		if err != nil {
			return amended{}, err
		}
		next := stored
		next.Fished, next.Confirmed, next.StartedAt, next.Version = after.Fished, after.Confirmed, after.StartedAt, stored.Version+1
		next.TestFly, next.ControlFly = after.TestFly, after.ControlFly
		outing, err := tx.OutingBy(ctx, id, next.OutingID)
		if err != nil {
			return amended{}, err
		}
		if err := cmp.Or(next.Check(s.now()), o.takesMoved(stored.StartedAt, next.StartedAt), next.LiesIn(outing)); err != nil {
			return amended{}, err
		}
		if err := tx.UpdatePeriod(ctx, next); err != nil {
			return amended{}, err
		}
		if view, err = s.viewPeriod(ctx, tx, next, o); err != nil {
			return amended{}, err
		}
		return amended{trial.LedgerPeriod, period, stored.Version, changed}, nil
	})
	return view, err
}

// amended says which record changed, which number its correction has and what it changed.
type amended struct {
	kind    string
	subject trial.ID
	n       int
	changed []change
}

type change struct {
	field    string
	old, new json.RawMessage
}

// amend runs change under the actor's chain and records what it changed there and as an amendment.
func (s *Service) amend(ctx context.Context, actor trial.Actor, id, subject trial.ID, c Correction, do func(context.Context, trial.Tx, *own) (amended, error)) error {
	if err := trial.CheckReason(c.Reason); err != nil {
		return err
	}
	now := s.now()
	salts := s.salts()
	return s.keepFor(ctx, actor, id, subject, ofRecord(id, subject), func(ctx context.Context, tx trial.Tx, o *own) error {
		if err := o.trial.Corrects(); err != nil {
			return err
		}
		a, err := do(ctx, tx, o)
		if err != nil {
			return err
		}
		old, new := fields{}, fields{}
		for _, ch := range a.changed {
			old[ch.field], new[ch.field] = ch.old, ch.new
		}
		record := trial.Amendment{TrialID: id, EnrolmentID: o.enrolment.ID, Kind: a.kind, Subject: a.subject, N: a.n, At: now, By: actor.AccountID, Reason: c.Reason}
		if record.Old, err = canonical(old); err != nil {
			return err
		}
		if record.New, err = canonical(new); err != nil {
			return err
		}
		if err := tx.InsertAmendment(ctx, record); err != nil {
			return err
		}
		r, err := amendmentRecord(salts, record, o.role(), old, new)
		if err != nil {
			return err
		}
		_, err = o.append(ctx, tx, trial.LedgerAmendment, a.subject, r)
		return err
	})
}

// privateFields are those that no published table shows.
var privateFields = []string{"caught_at", "noted_at", "length", "note", "started_at", "water", "conditions", "ended_at"}

// role says in which role the actor touches the enrolment's records: its angler, or who notes for him.
func (o *own) role() string {
	if o.noter.IsZero() {
		return trial.ByAngler
	}
	return trial.ByHelper
}

// amendmentRecord splits a correction as the corrected record itself is split. That there was one, by somebody in which role, and
// why is told to everybody; by whom and when is not.
func amendmentRecord(salts trial.Parts, a trial.Amendment, by string, old, new fields) (record, error) {
	hidden := fields{"account": a.By, "at": at(a.At)}
	if by != trial.ByAngler {
		delete(hidden, "account") // it stands in the correction alone, where it can be erased without the chain
	}
	if _, ok := old["length"]; ok {
		for _, values := range []fields{old, new} {
			var length *trial.Measure
			if err := json.Unmarshal(values["length"].(json.RawMessage), &length); err != nil {
				return record{}, fmt.Errorf("read a length: %w", err)
			}
			values["length_cm"] = wholeCM(length)
		}
	}
	for _, f := range privateFields {
		if _, ok := old[f]; ok {
			hidden["old_"+f], hidden["new_"+f] = old[f], new[f]
			delete(old, f)
			delete(new, f)
		}
	}
	return recordOf(salts, fields{"kind": a.Kind, "subject": a.Subject, "n": a.N, "by": by, "reason": a.Reason, "old": old, "new": new}, hidden)
}

// AmendmentView is a correction and who made it: trial.ByAngler or trial.ByHelper.
type AmendmentView struct {
	trial.Amendment
	Corrector string
}

// Amendments lists the corrections of one of the actor's catches, periods or outings.
func (s *Service) Amendments(ctx context.Context, actor trial.Actor, id, subject trial.ID) (views []AmendmentView, err error) {
	err = s.readFor(ctx, actor, id, ofRecord(id, subject), func(ctx context.Context, tx trial.ReadTx, o own) error {
		fish, err := tx.CatchBy(ctx, id, subject)
		owner := fish.EnrolmentID
		if err == nil && o.typed(nil, fish) != nil {
			return trial.Missing("record")
		}
		if trial.KindOf(err) == trial.NotFound {
			var period trial.Period
			period, err = tx.PeriodBy(ctx, id, subject)
			owner = period.EnrolmentID
		}
		if trial.KindOf(err) == trial.NotFound {
			var outing trial.Outing
			outing, err = tx.OutingBy(ctx, id, subject)
			owner = outing.EnrolmentID
		}
		if trial.KindOf(err) == trial.NotFound {
			return trial.Missing("record")
		}
		if err := o.mine(err, owner, "record"); err != nil {
			return err
		}
		list, err := tx.AmendmentsOf(ctx, id, subject)
		views = make([]AmendmentView, len(list))
		for i, a := range list {
			views[i] = AmendmentView{a, trial.KeptBy(o.enrolment.AccountID, a.By)}
		}
		return err
	})
	return views, err
}

func contentOf(c trial.Catch) catchContent {
	content := catchContent{
		Period: c.PeriodID, TakenPattern: c.TakenPattern, TakenPosition: c.TakenPosition, Outcome: c.Outcome, FoulHooked: c.FoulHooked,
		RigIntact: c.RigIntact, Species: c.Species, Origin: c.Origin, CaughtAt: c.CaughtAt, NotedAt: c.NotedAt, Length: c.Length,
		Welfare: trial.WelfareSigns(c.Welfare), Note: c.Note, Void: c.Void,
	}
	if !c.DoubleID.IsZero() {
		content.DoubleID = &c.DoubleID
	}
	return content
}

func (content catchContent) onto(c trial.Catch) trial.Catch {
	c.PeriodID, c.TakenPattern, c.TakenPosition, c.Outcome, c.FoulHooked = content.Period, content.TakenPattern, content.TakenPosition, content.Outcome, content.FoulHooked
	c.RigIntact, c.Species, c.Origin, c.CaughtAt, c.NotedAt = content.RigIntact, content.Species, content.Origin, content.CaughtAt, content.NotedAt
	c.Length, c.Note, c.Void, c.DoubleID = content.Length, content.Note, content.Void, trial.ID{}
	c.Welfare = trial.JoinWelfare(content.Welfare)
	if content.DoubleID != nil {
		c.DoubleID = *content.DoubleID
	}
	return c
}
