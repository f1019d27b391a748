package conduct

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"evenrig/service/trial"
)

// CardView is what became of a paper card: the records that were made of it, in the order in which they stand on it.
type CardView struct {
	Card    trial.Card
	Periods []trial.ID
	Catches []trial.ID
	Created bool
}

// TypeCard saves a paper card under its number, all of it or nothing: an outing with its end, units, periods and fish, by the same
// rules as if a phone had sent them. Whoever may note for its angler may type it, also the angler.
//
// A card that is typed a second time makes no second fish. Where the two typings say the same it stands as checked; where they
// differ it is refused with the places where they do, and both is on record for the organiser, without what they say.
func (s *Service) TypeCard(ctx context.Context, actor trial.Actor, id trial.ID, number int, card trial.PaperCard) (view CardView, err error) {
	now := s.now()
	if err := card.Check(number, now); err != nil {
		return view, s.refuseCard(ctx, actor, id, err)
	}
	content, err := canonical(inUTC(card))
	if err != nil {
		return view, err
	}
	salts := s.salts()
	var differs []string
	err = s.keepFor(ctx, actor, id, trial.ID{}, nil, func(ctx context.Context, tx trial.Tx, o *own) error {
		view, differs = CardView{}, nil
		stands, err := tx.CardBy(ctx, id, number)
		switch {
		case err == nil && stands.EnrolmentID != o.enrolment.ID:
			return trial.Fail(trial.Conflict, "card.taken", "card %d was typed for another angler; look at the number again", number)
		case err == nil:
			if differs, err = cardDifferences(stands.Content, content); err != nil {
				return err
			}
			if stands.TypedBy != actor.AccountID {
				stands.AgainBy, stands.AgainAt, stands.Differs = actor.AccountID, &now, differs
				if err := tx.CheckCard(ctx, stands); err != nil {
					return err
				}
			}
			view.Card = stands
			view.Periods, view.Catches, err = ofCard(ctx, tx, stands)
			return err
		case trial.KindOf(err) != trial.NotFound:
			return err
		}
		view, err = s.enterCard(ctx, tx, actor, o, number, card)
		if err != nil {
			return err
		}
		view.Card.Content = content
		view.Card.TypedBy, view.Card.TypedAt = actor.AccountID, now
		if err := tx.InsertCard(ctx, view.Card); err != nil {
			return err
		}
		r, err := recordOf(salts, fields{"card": number, "outing": view.Card.OutingID, "week": week(card.WrittenAt)}, fields{"written_at": at(card.WrittenAt)})
		if err != nil {
			return err
		}
		if o.head, err = tx.LockHead(ctx, id, o.enrolment.ChainID); err != nil {
			return err
		}
		_, err = o.append(ctx, tx, trial.LedgerCard, view.Card.OutingID, r)
		return err
	})
	if err != nil {
		return CardView{}, err
	}
	if len(differs) > 0 {
		return CardView{}, cardDiffers(number, differs)
	}
	return view, nil
}

// refuseCard says what is wrong with a card to who may type one, and to nobody else.
func (s *Service) refuseCard(ctx context.Context, actor trial.Actor, id trial.ID, fault error) error {
	if err := s.readFor(ctx, actor, id, nil, func(context.Context, trial.ReadTx, own) error { return nil }); err != nil {
		return err
	}
	return fault
}

// enterCard makes a card's records in the transaction that is open, by the use cases that phones call.
func (s *Service) enterCard(ctx context.Context, tx trial.Tx, actor trial.Actor, o *own, number int, card trial.PaperCard) (view CardView, err error) {
	actor.For = trial.ID{}
	if !o.noter.IsZero() {
		actor.For = o.enrolment.ID
	}
	id, inner := o.trial.ID, s.within(tx)
	out := card.Outing
	outing := trial.Outing{
		ID: s.newID(), Card: number, Water: out.Water, StartedAt: out.StartedAt, StartedLate: out.StartedLate, WaterTemperature: out.WaterTemperature,
		Conditions: out.Conditions, Note: out.Note,
	}
	if _, err := inner.OpenOuting(ctx, actor, id, outing); err != nil {
		return view, trial.At("outing", err)
	}
	doubles := map[int]trial.ID{}
	for i, round := range card.Rounds {
		path := fmt.Sprintf("rounds[%d]", i)
		unit, err := inner.unitOfCard(ctx, actor, id, round)
		if err != nil {
			return view, trial.At(path, err)
		}
		for j, half := range round.Halves {
			path := fmt.Sprintf("%s.halves[%d]", path, j)
			period := trial.Period{ID: s.newID(), OutingID: outing.ID, UnitID: unit, Half: j + 1, Confirmed: half.Confirmed, Fished: half.Fished, StartedAt: half.StartedAt}
			if _, err := inner.BeginPeriod(ctx, actor, id, period); err != nil {
				return view, trial.At(path, err)
			}
			view.Periods = append(view.Periods, period.ID)
			for k, fish := range half.Fish {
				c := fishOfCard(fish, period.ID, card.WrittenAt)
				c.ID = s.newID()
				if fish.Double != 0 {
					if doubles[fish.Double].IsZero() {
						doubles[fish.Double] = s.newID()
					}
					c.DoubleID = doubles[fish.Double]
				}
				if err := inner.keepCatch(ctx, tx, actor, id, c); err != nil {
					return view, trial.At(fmt.Sprintf("%s.fish[%d]", path, k), err)
				}
				view.Catches = append(view.Catches, c.ID)
			}
			end := trial.PeriodEnd{EndedAt: half.EndedAt, SwapNowAt: half.SwapNowAt, Reason: half.Reason}
			if _, err := inner.EndPeriod(ctx, actor, id, period.ID, end); err != nil {
				return view, trial.At(path, err)
			}
		}
	}
	end := trial.OutingEnd{EndedAt: out.EndedAt, Reason: out.Reason, NotLogged: out.NotLogged}
	if _, err := inner.EndOuting(ctx, actor, id, outing.ID, end); err != nil {
		return view, trial.At("outing", err)
	}
	view.Created = true
	view.Card = trial.Card{TrialID: id, Number: number, EnrolmentID: o.enrolment.ID, OutingID: outing.ID, WrittenAt: card.WrittenAt}
	return view, nil
}

// unitOfCard returns the unit that a round of a card names, or keeps the one that was drawn for it at the water.
func (s *Service) unitOfCard(ctx context.Context, actor trial.Actor, id trial.ID, round trial.PaperRound) (trial.ID, error) {
	if round.Unit != nil {
		return *round.Unit, nil
	}
	drawn := trial.Unit{ID: s.newID(), DrawnBy: round.DrawnBy, First: round.First, Slip: round.Slip, DrawnAt: round.DrawnAt}
	if drawn.DrawnAt == nil {
		drawn.DrawnAt = &round.Halves[0].StartedAt
	}
	view, err := s.KeepUnit(ctx, actor, id, drawn)
	return view.Unit.ID, err
}

func fishOfCard(f trial.PaperFish, period trial.ID, written time.Time) trial.Catch {
	return trial.Catch{
		PeriodID: period, TakenPattern: f.TakenPattern, TakenPosition: f.TakenPosition, Outcome: f.Outcome, FoulHooked: f.FoulHooked, RigIntact: f.RigIntact,
		Welfare: trial.JoinWelfare(f.Welfare), Species: f.Species, Origin: f.Origin, CaughtAt: f.CaughtAt, NotedAt: written, Length: f.Length, Note: f.Note,
	}
}

// keepCatch saves one catch in a transaction that is open and holds its angler's chain, by the rules of intake.
func (s *Service) keepCatch(ctx context.Context, tx trial.Tx, actor trial.Actor, id trial.ID, in trial.Catch) error {
	return s.keepFor(ctx, actor, id, in.ID, nil, func(ctx context.Context, _ trial.Tx, o *own) error {
		submission, err := s.submission(actor, id, o.protocol, false, in)
		if err != nil {
			return err
		}
		period, err := tx.PeriodBy(ctx, id, in.PeriodID)
		if err != nil {
			return err
		}
		deviations, err := tx.DeviationsOf(ctx, id, period.OutingID)
		if err != nil {
			return err
		}
		c, _, err := submission.Settle(trial.Standing{Trial: o.trial, Enrolment: o.enrolment, Period: &period, Deviations: deviations})
		if err != nil {
			return err
		}
		receipt, err := o.append(ctx, tx, trial.LedgerCatch, c.ID, record{parts: submission.Parts})
		if err != nil {
			return err
		}
		return tx.InsertCatch(ctx, c, receipt.N)
	})
}

// ofCard returns the periods and fish of the outing that a card was made into.
func ofCard(ctx context.Context, tx trial.ReadTx, card trial.Card) (periods, catches []trial.ID, err error) {
	list, err := tx.PeriodsOf(ctx, card.TrialID, card.OutingID)
	if err != nil {
		return nil, nil, err
	}
	for _, p := range list {
		periods = append(periods, p.ID)
		fish, err := tx.CatchesOfPeriod(ctx, card.TrialID, p.ID)
		if err != nil {
			return nil, nil, err
		}
		for _, c := range fish {
			catches = append(catches, c.ID)
		}
	}
	return periods, catches, nil
}

// within is the service on a transaction that is open: its use cases do their work in it, and it is for its opener to commit.
func (s *Service) within(tx trial.Tx) *Service {
	return &Service{store: opened{s.store, tx}, clock: s.clock, random: s.random, key: s.key, program: s.program, rules: map[trial.ID]*rules{}}
}

type opened struct {
	trial.Store
	tx trial.Tx
}

func (o opened) InTx(ctx context.Context, do func(context.Context, trial.Tx) error) error {
	return do(ctx, o.tx)
}

func (o opened) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return do(ctx, o.tx)
}

func (o opened) InLongReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return do(ctx, o.tx)
}

// inUTC is the card with every time in one zone and as precise as it is kept, so that the same card typed in two places is the
// same.
func inUTC(c trial.PaperCard) trial.PaperCard {
	same := func(t time.Time) time.Time { return t.UTC().Truncate(time.Millisecond) }
	sameOrNil := func(t *time.Time) *time.Time {
		if t == nil {
			return nil
		}
		u := same(*t)
		return &u
	}
	c.WrittenAt, c.Outing.StartedAt, c.Outing.EndedAt = same(c.WrittenAt), same(c.Outing.StartedAt), same(c.Outing.EndedAt)
	c.Rounds = slices.Clone(c.Rounds)
	for i := range c.Rounds {
		r := &c.Rounds[i]
		r.DrawnAt, r.Halves = sameOrNil(r.DrawnAt), slices.Clone(r.Halves)
		for j := range r.Halves {
			h := &r.Halves[j]
			h.StartedAt, h.EndedAt, h.SwapNowAt, h.Fish = same(h.StartedAt), same(h.EndedAt), sameOrNil(h.SwapNowAt), slices.Clone(h.Fish)
			for k := range h.Fish {
				h.Fish[k].CaughtAt = same(h.Fish[k].CaughtAt)
			}
		}
	}
	return c
}

// mostDifferences is how many places are named where two typings differ.
const mostDifferences = 20

func cardDiffers(number int, paths []string) error {
	e := &trial.Error{
		Kind: trial.Conflict, Code: "card.differs",
		Detail: fmt.Sprintf("card %d was typed before, and the two typings differ; look at the card and correct what stands, nothing was doubled", number),
	}
	for _, path := range paths {
		e.Fields = append(e.Fields, trial.FieldError{Field: path, Detail: "differs"})
	}
	return e
}

// cardDifferences names the places where two cards differ, in order, never what they say.
func cardDifferences(before, after []byte) ([]string, error) {
	var a, b any
	if err := json.Unmarshal(before, &a); err != nil {
		return nil, fmt.Errorf("read a card: %w", err)
	}
	if err := json.Unmarshal(after, &b); err != nil {
		return nil, fmt.Errorf("read a card: %w", err)
	}
	paths := unlike("", a, b)
	return paths[:min(len(paths), mostDifferences)], nil
}

func unlike(path string, a, b any) (paths []string) {
	switch a := a.(type) {
	case map[string]any:
		other, ok := b.(map[string]any)
		if !ok {
			return []string{path}
		}
		names := make([]string, 0, len(a))
		for name := range a {
			names = append(names, name)
		}
		slices.Sort(names)
		for _, name := range names {
			at := name
			if path != "" {
				at = path + "." + name
			}
			paths = append(paths, unlike(at, a[name], other[name])...)
		}
		return paths
	case []any:
		other, ok := b.([]any)
		if !ok || len(a) != len(other) {
			return []string{path}
		}
		for i := range a {
			paths = append(paths, unlike(fmt.Sprintf("%s[%d]", path, i), a[i], other[i])...)
		}
		return paths
	}
	if _, deep := b.(map[string]any); deep || a != b {
		return []string{path}
	}
	return nil
}

// TypedCard is a card that was typed, as the organiser sees it: nothing of what it says.
type TypedCard struct {
	Number    int
	Pseudonym string
	WrittenAt time.Time
	TypedBy   string // the member's name
	TypedAt   time.Time
	AgainBy   string // who typed it a second time, empty when nobody did
	AgainAt   *time.Time
	Differs   []string
}

// Cards lists the paper cards that were typed for a trial, in the order of their numbers.
func (s *Service) Cards(ctx context.Context, actor trial.Actor, id trial.ID) (list []TypedCard, err error) {
	err = s.store.InReadTx(ctx, func(ctx context.Context, tx trial.ReadTx) error {
		if _, err := inTrial(ctx, tx, actor, id, trial.ReadCards); err != nil {
			return err
		}
		cards, err := tx.CardsOf(ctx, id)
		if err != nil {
			return err
		}
		for _, c := range cards {
			e, err := tx.EnrolmentBy(ctx, id, c.EnrolmentID)
			if err != nil {
				return err
			}
			typed := TypedCard{Number: c.Number, Pseudonym: e.Pseudonym, WrittenAt: c.WrittenAt, TypedAt: c.TypedAt, AgainAt: c.AgainAt, Differs: c.Differs}
			if typed.TypedBy, err = nameOf(ctx, tx, c.TypedBy); err != nil {
				return err
			}
			if typed.AgainBy, err = nameOf(ctx, tx, c.AgainBy); err != nil {
				return err
			}
			list = append(list, typed)
		}
		return nil
	})
	return list, err
}

// nameOf returns an account's name, empty for none.
func nameOf(ctx context.Context, tx trial.ReadTx, account trial.ID) (string, error) {
	if account.IsZero() {
		return "", nil
	}
	a, err := tx.AccountBy(ctx, account)
	return a.Name, err
}

// awaitCards returns nil when no card of a closed trial can be on its way any more.
func awaitCards(ctx context.Context, tx trial.ReadTx, t trial.Trial, now time.Time) error {
	in, err := tx.CardsInOf(ctx, t.ID)
	if err != nil || in != nil {
		return err
	}
	out, err := tx.PaperOut(ctx, t.ID)
	if err != nil || !out {
		return err
	}
	return t.AwaitsCards(now)
}
