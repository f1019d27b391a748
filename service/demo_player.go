package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// player is an angler at the water: what his program sends.
type player struct {
	person
	story  *story
	number int
	angler *demoAngler

	enrolment openapi.EnrolmentID
	code      [32]byte
	unsent    []openapi.BatchCatch // carried home by those who send a day's fish together
}

// carries reports whether the angler has no signal at the water and sends the day's fish as a batch.
func (p *player) carries() bool { return p.number%4 == 3 }

// outing is a day under way.
type outing struct {
	id    openapi.OutingID
	n     int
	at    time.Time // the angler's watch
	until time.Time
}

// fishOuting plays one outing from opening to end.
func (p *player) fishOuting(ctx context.Context, n int, start time.Time) error {
	p.story.clock.set(start)
	o := &outing{id: openapi.OutingID(demoID(p.angler.rng, start)), n: n, at: start, until: start.Add(3*time.Hour + 30*time.Minute)}
	water := demoWaters[(p.number+n)%len(demoWaters)].Name
	opened, err := p.api.PutOutingWithResponse(ctx, p.story.trial, o.id, openapi.NewOuting{Water: water, StartedAt: start, WaterTemperature: p.temperature()})
	if err := expect(opened, err, "open the outing", 201); err != nil {
		return err
	}
	for block := 0; o.at.Before(o.until.Add(-40 * time.Minute)); block++ {
		if err := p.incident(ctx, o, block); err != nil {
			return err
		}
		if err := p.fishBlock(ctx, o, block); err != nil {
			return err
		}
	}
	if err := p.sendCarried(ctx); err != nil {
		return err
	}
	p.story.clock.set(o.at)
	ended, err := p.api.PutOutingEndWithResponse(ctx, p.story.trial, o.id, openapi.NewOutingEnd{EndedAt: o.at, Reason: "planned", NotLogged: p.angler.rng.IntN(8) / 7})
	return expect(ended, err, "end the outing", 201)
}

// temperature is what the thermometer says; some have one in Fahrenheit, some none.
func (p *player) temperature() *openapi.Measure {
	c := 8.5 + float64(p.angler.rng.IntN(60))/10
	switch p.number % 5 {
	case 0:
		return nil
	case 1:
		return &openapi.Measure{Value: float64(int(c*9/5 + 32)), Unit: "F"}
	}
	return &openapi.Measure{Value: c, Unit: "C"}
}

// fishBlock fetches the next unit and fishes its two periods.
func (p *player) fishBlock(ctx context.Context, o *outing, block int) error {
	unit, err := p.api.PutUnitWithResponse(ctx, p.story.trial, openapi.UnitID(demoID(p.angler.rng, o.at)), openapi.NewUnit{})
	if err := expect(unit, err, "fetch the next unit", 201); err != nil {
		return err
	}
	arrangement := trial.Arrangement(unit.JSON201.First)
	for half := 1; half <= 2 && o.at.Before(o.until.Add(-5*time.Minute)); half++ {
		if err := p.fishPeriod(ctx, o, block, unit.JSON201.ID, half, arrangement); err != nil {
			return err
		}
		arrangement = arrangement.Other()
	}
	return nil
}

// fishPeriod rigs, fishes until two fish or 45 minutes, and swaps. Once, an angler has the flies on the wrong way round
// without noticing, and owns up to it in the evening.
func (p *player) fishPeriod(ctx context.Context, o *outing, block int, unit openapi.UnitID, half int, drawn trial.Arrangement) error {
	o.at = o.at.Add(4 * time.Minute)
	period, start := openapi.PeriodID(demoID(p.angler.rng, o.at)), o.at
	begun, err := p.api.PutPeriodWithResponse(ctx, p.story.trial, period, openapi.NewPeriod{Outing: o.id, Unit: unit, Half: half, Confirmed: true, StartedAt: start})
	if err := expect(begun, err, "begin the period", 201); err != nil {
		return err
	}
	mistaken := p.number == 4 && o.n == 2 && block == 0 && half == 1
	onTheLine := drawn
	if mistaken {
		onTheLine = drawn.Other()
	}
	end := openapi.NewPeriodEnd{Reason: trial.EndedByRule}
	swapNow := start.Add(45 * time.Minute)
	if blank := p.number == 11 && o.n == 5; !blank {
		if swapNow, err = p.fishUntilSwap(ctx, o, period, onTheLine); err != nil {
			return err
		}
	}
	if swapNow.After(o.until) {
		swapNow, end.Reason = o.until, "outing_ended"
	}
	o.at = swapNow
	if end.Reason == trial.EndedByRule {
		end.SwapNowAt = &swapNow
		o.at = swapNow.Add(2 * time.Minute)
	}
	end.EndedAt = o.at
	p.story.clock.set(o.at)
	ended, err := p.api.PutPeriodEndWithResponse(ctx, p.story.trial, period, end)
	if err := expect(ended, err, "end the period", 201); err != nil {
		return err
	}
	if mistaken {
		return p.ownUp(ctx, period, onTheLine)
	}
	return nil
}

// ownUp corrects what was fished; the drawn arrangement stays beside it.
func (p *player) ownUp(ctx context.Context, period openapi.PeriodID, fished trial.Arrangement) error {
	word := string(fished)
	amended, err := p.api.AmendPeriodWithResponse(ctx, p.story.trial, period, &openapi.AmendPeriodParams{IfMatch: `"1"`},
		openapi.PeriodAmendment{Fished: &word, Reason: "the flies were on the wrong way round, seen when cutting them off"})
	return expect(amended, err, "own up to the wrong way round", 200)
}

// fishUntilSwap logs fish until the swap is due and returns when that was.
func (p *player) fishUntilSwap(ctx context.Context, o *outing, period openapi.PeriodID, a trial.Arrangement) (time.Time, error) {
	latest := o.at.Add(45 * time.Minute)
	counted := 0
	for {
		f := p.angler.after(o.at, a)
		if f.at.After(latest) || f.at.After(o.until) {
			return latest, nil
		}
		o.at = f.at
		fish := []openapi.NewCatch{p.describe(f, period, a)}
		if p.number == 5 && o.n == 3 && counted == 0 {
			fish = p.double(fish[0], f, period, a)
		}
		for _, c := range fish {
			if err := p.log(ctx, c); err != nil {
				return latest, err
			}
			if f.outcome == trial.Landed && !f.foul && f.species == demoSpecies {
				counted++
			}
		}
		if counted >= 2 {
			return o.at, nil
		}
	}
}

// describe is how the angler writes a fish down: some note the fly, some its place on the line, some both.
func (p *player) describe(f demoFish, period openapi.PeriodID, a trial.Arrangement) openapi.NewCatch {
	pattern, position := demoControl, string(trial.Upper)
	if f.tookTest {
		pattern = demoTest
	}
	if f.tookTest == (a == trial.TestLower) {
		position = string(trial.Lower)
	}
	if f.unsure {
		pattern, position = string(trial.TookUnknown), string(trial.UnknownPosition)
	}
	outcome := string(f.outcome)
	c := openapi.NewCatch{Period: period, Species: f.species, Outcome: &outcome, FoulHooked: &f.foul, CaughtAt: f.at}
	// Who has the flies on the wrong way round still sees which fly is in the fish's mouth.
	if byPlace := p.number%3 == 1 && p.number != 4; byPlace {
		c.TakenPosition = &position
	} else {
		c.TakenPattern = &pattern
		if p.number%3 == 2 {
			c.TakenPosition = &position
		}
	}
	if f.outcome == trial.Landed && p.number%2 == 0 {
		c.Length = &openapi.Measure{Value: f.cm, Unit: "cm"}
	}
	return c
}

// double is two fish on the line at once, one on each fly.
func (p *player) double(first openapi.NewCatch, f demoFish, period openapi.PeriodID, a trial.Arrangement) []openapi.NewCatch {
	id := openapi.CatchID(demoID(p.angler.rng, f.at))
	f.tookTest = !f.tookTest
	second := p.describe(f, period, a)
	first.DoubleID, second.DoubleID = &id, &id
	return []openapi.NewCatch{first, second}
}

// log sends a fish, or keeps it for the way home.
func (p *player) log(ctx context.Context, c openapi.NewCatch) error {
	p.story.fish++
	id := openapi.CatchID(demoID(p.angler.rng, c.CaughtAt))
	if p.carries() {
		p.unsent = append(p.unsent, inBatch(id, c))
		return nil
	}
	p.story.clock.set(c.CaughtAt)
	saved, err := p.api.PutCatchWithResponse(ctx, p.story.trial, id, c)
	if err := expect(saved, err, "log a fish", 201); err != nil {
		return err
	}
	switch {
	case p.number == 2: // a phone that never trusts the signal sends everything twice
		again, err := p.api.PutCatchWithResponse(ctx, p.story.trial, id, c)
		return expect(again, err, "log a fish again", 200)
	case p.number == 1 && p.story.fish%12 == 0:
		return p.correct(ctx, id)
	}
	return nil
}

// correct changes a fish's species, with its reason.
func (p *player) correct(ctx context.Context, id openapi.CatchID) error {
	species, note := demoSpecies, "looked at the photograph"
	amended, err := p.api.AmendCatchWithResponse(ctx, p.story.trial, id, &openapi.AmendCatchParams{IfMatch: `"1"`},
		openapi.CatchAmendment{Species: &species, Note: &note, Reason: "wrong species tapped with cold fingers"})
	return expect(amended, err, "correct a fish", 200)
}

// sendCarried sends the day's fish in one batch: one angler as a JSON array, the others as lines. Sending it a second
// time changes nothing.
func (p *player) sendCarried(ctx context.Context) error {
	if len(p.unsent) == 0 {
		return nil
	}
	for _, wanted := range []openapi.BatchOutcomeStatus{openapi.BatchOutcomeStatusCreated, openapi.BatchOutcomeStatusReplayed} {
		outcomes, err := p.sendBatch(ctx)
		if err != nil {
			return err
		}
		if bad := slices.IndexFunc(outcomes, func(o openapi.BatchOutcome) bool { return o.Status != wanted }); bad >= 0 || len(outcomes) != len(p.unsent) {
			return fmt.Errorf("a batch of %d fish: not all are %s: %+v", len(p.unsent), wanted, outcomes)
		}
	}
	p.unsent = nil
	return nil
}

func (p *player) sendBatch(ctx context.Context) ([]openapi.BatchOutcome, error) {
	if p.number == 7 {
		sent, err := p.api.SubmitCatchesWithResponse(ctx, p.story.trial, p.unsent)
		if err := expect(sent, err, "send a batch", 200); err != nil {
			return nil, err
		}
		return *sent.JSON200, nil
	}
	var body bytes.Buffer
	if err := lines(&body, p.unsent); err != nil {
		return nil, err
	}
	// The answer comes in lines too, which the client's own decoder does not read.
	sent, err := p.api.ClientInterface.SubmitCatchesWithBody(ctx, p.story.trial, "application/x-ndjson", &body)
	if err != nil {
		return nil, fmt.Errorf("send a batch: %w", err)
	}
	defer sent.Body.Close()
	var outcomes []openapi.BatchOutcome
	for answers := json.NewDecoder(sent.Body); ; {
		var o openapi.BatchOutcome
		err := answers.Decode(&o)
		if errors.Is(err, io.EOF) {
			return outcomes, nil
		}
		if err != nil {
			return nil, fmt.Errorf("send a batch: answered %d: %w", sent.StatusCode, err)
		}
		outcomes = append(outcomes, o)
	}
}

func inBatch(id openapi.CatchID, c openapi.NewCatch) openapi.BatchCatch {
	return openapi.BatchCatch{
		ID: id, Period: c.Period, TakenPattern: c.TakenPattern, TakenPosition: c.TakenPosition, Outcome: c.Outcome, FoulHooked: c.FoulHooked,
		DoubleID: c.DoubleID, Species: c.Species, CaughtAt: c.CaughtAt, Length: c.Length,
	}
}

// incident is what goes otherwise than planned before some blocks.
func (p *player) incident(ctx context.Context, o *outing, block int) error {
	if block != 1 {
		return nil
	}
	var reports []openapi.NewDeviation
	switch {
	case p.number == 8 && o.n == 1:
		lunch := o.at.Add(25 * time.Minute)
		reports = []openapi.NewDeviation{
			{Outing: o.id, Kind: string(trial.OffTrial), From: o.at, Note: note("a dry fly to a rise, for fun")},
			{Outing: o.id, Kind: string(trial.BackOn), From: lunch},
		}
		o.at = lunch
	case p.number == 9 && o.n == 4:
		other := demoWaters[(p.number+o.n+1)%len(demoWaters)].Name
		reports = []openapi.NewDeviation{{Outing: o.id, Kind: string(trial.Moved), From: o.at, Water: &other}}
		o.at = o.at.Add(20 * time.Minute)
	}
	for _, r := range reports {
		sent, err := p.api.PutDeviationWithResponse(ctx, p.story.trial, openapi.DeviationID(demoID(p.angler.rng, r.From)), r)
		if err := expect(sent, err, "report what was not as planned", 201); err != nil {
			return err
		}
	}
	return nil
}

func note(s string) *string { return &s }
