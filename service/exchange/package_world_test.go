package exchange

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/gowebpki/jcs"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// played is an invented trial, played by the rules of package trial alone: its records, chains and checkpoints as a service keeps
// them. What happens in it is drawn from one seed, so that it is the same each time.
type played struct {
	t       testing.TB
	random  *rand.Rand
	now     time.Time
	source  Source
	anglers []SourceAngler
	heads   map[trial.ID]trial.Head
	moved   map[trial.ID]bool
	seed    [32]byte
}

// playing says what an invented trial is like.
type playing struct {
	anglers, outings, blocks int
	closed                   []int // anglers, by place, who do not agree to open publication
	rare                     bool  // one fish of a species that nobody else catches
	alone                    bool  // one outing in a week in which nobody else fishes
	cells                    bool
	stay                     time.Duration // between outings
}

func usualTrial() playing { return playing{anglers: 6, outings: 4, blocks: 3} }

func play(t testing.TB, with playing) *played {
	t.Helper()
	return playTrial(t, with, (*played).correctSome)
}

// playUncorrected is play without corrections.
func playUncorrected(t testing.TB, with playing) *played {
	t.Helper()
	return playTrial(t, with, func(*played) {})
}

func playTrial(t testing.TB, with playing, correct func(*played)) *played {
	t.Helper()
	w := &played{
		t: t, random: rand.New(rand.NewPCG(7, 11)), now: time.Date(2026, 9, 7, 8, 0, 0, 0, time.UTC),
		heads: map[trial.ID]trial.Head{}, moved: map[trial.ID]bool{},
	}
	w.fill(w.seed[:])
	p := kitProtocol()
	p.Species = append(p.Species, "Salmo trutta")
	p.EndRule, p.MinAnglers = []string{"date", "total_fish"}, 3
	p.Waters = append(p.Waters, trial.Water{Name: "Alder Pool", WaterType: "lake"})
	if with.cells {
		p.PlaceGrid = trial.Grid10Kilo
	}
	w.register(p)
	for i := range with.anglers {
		w.enrol(!slices.Contains(with.closed, i))
	}
	w.state(trial.Registered, trial.Open)
	for day := range with.outings {
		for i := range w.anglers {
			w.outing(i, with, day)
			w.checkpoint()
		}
		w.now = w.now.Add(cmp.Or(with.stay, 4*24*time.Hour)).Truncate(24 * time.Hour).Add(8 * time.Hour)
	}
	if with.alone {
		w.now = w.now.Add(21 * 24 * time.Hour)
		w.outing(0, with, -1)
		w.checkpoint()
		w.now = w.now.Add(14 * 24 * time.Hour)
	}
	correct(w)
	w.state(trial.Open, trial.Closed)
	w.now = w.now.Add(73 * time.Hour)
	w.state(trial.Closed, trial.Locked)
	w.close()
	return w
}

func (w *played) fill(b []byte) {
	for i := range b {
		b[i] = byte(w.random.UintN(256))
	}
}

func (w *played) must(err error) {
	if err != nil {
		w.t.Helper()
		w.t.Fatal(err)
	}
}

// id makes an id of the given version; one of version 7 holds the time.
func (w *played) id(version byte) trial.ID {
	var id trial.ID
	w.fill(id[:])
	if version == 7 {
		ms := w.now.UnixMilli()
		for i := range 6 {
			id[i] = byte(ms >> (8 * (5 - i)))
		}
	}
	id[6], id[8] = id[6]&0x0f|version<<4, id[8]&0x3f|0x80
	return id
}

type fieldsOf map[string]any

// canon is canonical JSON by a general library of RFC 8785.
func (w *played) canon(v any) []byte {
	text, err := json.Marshal(v)
	w.must(err)
	text, err = jcs.Transform(text)
	w.must(err)
	return text
}

// enter adds an entry to a chain.
func (w *played) enter(c *Chain, chain trial.ID, kind string, subject trial.ID, public, private fieldsOf) {
	parts := trial.Parts{Public: w.canon(public), Private: w.canon(private)}
	w.fill(parts.PublicSalt[:])
	w.fill(parts.PrivateSalt[:])
	head, begun := w.heads[chain]
	if !begun {
		head = trial.Head{TrialID: w.source.Trial.ID, ChainID: chain}
	}
	entry := head.Next(kind, subject, parts)
	c.Entries = append(c.Entries, entry)
	if c.Parts == nil {
		c.Parts = map[int64]trial.Parts{}
	}
	c.Parts[entry.N] = parts
	w.heads[chain], w.moved[chain] = entry.Head(), true
}

func (w *played) organisers(kind string, public fieldsOf) {
	w.enter(&w.source.Organisers, w.source.Trial.ID, kind, w.source.Trial.ID, public, fieldsOf{"by": w.id(4)})
}

func (w *played) checkpoint() {
	var last *trial.Checkpoint
	if n := len(w.source.Checkpoints); n > 0 {
		last = &w.source.Checkpoints[n-1]
	}
	heads := make([]trial.Head, 0, len(w.heads))
	for _, h := range w.heads {
		heads = append(heads, h)
	}
	c := trial.NextCheckpoint(w.source.Trial.ID, last, heads, w.now)
	w.source.Checkpoints = append(w.source.Checkpoints, c)
	for chain := range w.moved {
		w.source.Moves = append(w.source.Moves, trial.CheckpointMove{Checkpoint: c.N, ChainID: chain, N: w.heads[chain].N})
	}
	w.moved = map[trial.ID]bool{}
}

func (w *played) register(p trial.Protocol) {
	w.must(p.Validate())
	canonical := w.canon(p)
	now := w.now
	t := trial.Trial{
		ID: w.id(4), ClubID: w.id(4), Title: p.Title, State: trial.Registered, Design: p.Design, Source: p.Source, ProtocolVersion: 1,
		Fingerprint: sha256.Sum256(canonical), Commitment: trial.Commitment(w.seed, canonical), Scheme: trial.AllocationScheme, RegisteredAt: &now,
	}
	w.source = Source{
		Trial: t, Club: "Alder Beck Fly Fishers", Protocol: p, Words: []string{"alder", "brook"}, People: []string{"Wilma Rook", "Tam Fenner"},
		Versions: []SourceVersion{{N: 1, At: now, Protocol: p, Canonical: canonical}},
	}
	plan := sha256.Sum256(w.canon(p.Published()))
	w.organisers(trial.LedgerState, fieldsOf{
		"from": trial.Draft, "to": trial.Registered, "at": now, "protocol": t.Fingerprint, "commitment": t.Commitment, "scheme": t.Scheme, "plan": trial.Digest(plan),
	})
	w.source.Changes = append(w.source.Changes, trial.StateChange{At: now, From: trial.Draft, To: trial.Registered})
	for i, word := range w.source.Words {
		w.organisers(trial.LedgerWord, fieldsOf{"n": i + 1, "word": word})
	}
	w.checkpoint()
}

func (w *played) state(from, to trial.State) {
	w.organisers(trial.LedgerState, fieldsOf{"from": from, "to": to, "at": w.now})
	w.source.Changes = append(w.source.Changes, trial.StateChange{At: w.now, From: from, To: to})
	now := w.now
	switch w.source.Trial.State = to; to {
	case trial.Closed:
		w.source.Trial.ClosedAt = &now
	case trial.Locked:
		w.source.Trial.LockedAt = &now
		w.source.Trial.Seed = (*trial.Digest)(&w.seed)
	}
	w.checkpoint()
	w.now = w.now.Add(time.Hour)
}

func (w *played) enrol(open bool) {
	e := trial.Enrolment{TrialID: w.source.Trial.ID, ID: w.id(4), EnrolledAt: w.now, Name: "Wilma Rook"}
	e.ChainID = e.ID
	if len(w.anglers) != 3 { // the fourth is a guest for a day, without an account
		e.AccountID = w.id(4)
	}
	e.Consent.PublishOpen, e.Consent.PlaceCoarse = open, true
	var random [6]byte
	w.fill(random[:])
	w.fill(e.Code[:])
	e.Pseudonym = trial.Pseudonym(random)
	a := SourceAngler{Records: trial.Records{Enrolment: e}}
	w.enter(&a.Chain, e.ChainID, trial.LedgerEnrolment, e.ID, fieldsOf{"enrolment": e.ID, "pseudonym": e.Pseudonym, "week": weekOf(w.now)}, fieldsOf{"code": hex.EncodeToString(e.Code[:])})
	w.anglers = append(w.anglers, a)
}

// outing plays a day: blocks of two periods with fish in each, a report now and then.
func (w *played) outing(i int, with playing, day int) {
	a := &w.anglers[i]
	r := &a.Records
	start := w.now.Add(time.Duration(w.random.IntN(120)) * time.Minute)
	o := trial.Outing{TrialID: w.source.Trial.ID, ID: w.id(7), EnrolmentID: r.Enrolment.ID, ProtocolVersion: 1, Water: w.source.Protocol.Waters[i%2].Name, StartedAt: start, StartedLate: w.random.IntN(9) == 0}
	public := fieldsOf{"outing": o.ID.Public(), "started_late": o.StartedLate, "water_temperature": nil, "week": weekOf(start)}
	if w.random.IntN(3) > 0 {
		o.WaterTemperature = &trial.Measure{Value: 11.5, Unit: "C"}
		public["water_temperature"] = "11.5 C"
	}
	if with.cells {
		o.Cell = "54.1N 2.3W"
		if i == 0 {
			o.Cell = "54.2N 2.3W"
		}
		public["cell"] = o.Cell
	}
	w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerOuting, o.ID, public, fieldsOf{"water": o.Water, "started_at": start, "note": "under the alder by the old mill"})
	at := start
	for range with.blocks {
		at = w.block(i, &o, at)
	}
	o.End = &trial.OutingEnd{EndedAt: at.Add(time.Minute), Reason: "planned", NotLogged: w.random.IntN(2)}
	w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerOutingEnd, o.ID, fieldsOf{"outing": o.ID.Public(), "reason": "planned", "not_logged": o.End.NotLogged}, fieldsOf{"ended_at": o.End.EndedAt})
	r.Outings = append(r.Outings, o)
	if with.rare && i == 0 && day == 0 {
		r.Catches[0].Species = "Salmo trutta"
		w.amend(a, trial.LedgerCatch, r.Catches[0].ID, 1, "it was a trout", fieldsOf{"species": "Thymallus thymallus"}, fieldsOf{"species": "Salmo trutta"})
		r.Catches[0].Version = 2
	}
}

func (w *played) block(i int, o *trial.Outing, at time.Time) time.Time {
	a := &w.anglers[i]
	r, p := &a.Records, w.source.Protocol
	n := len(r.Units) + 1
	key := trial.AllocationKey(w.seed, w.source.Words, r.Enrolment.ID, r.Enrolment.Code)
	u := trial.Unit{TrialID: o.TrialID, ID: w.id(7), EnrolmentID: r.Enrolment.ID, N: n, First: p.Draw.UnitArrangement(key, n), FetchedAt: at, OpenedAt: &at}
	w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerUnit, u.ID, fieldsOf{"unit": u.ID.Public(), "n": n, "first": u.First, "same_fly_check": false}, fieldsOf{"fetched_at": at})
	r.Units = append(r.Units, u)
	for half := 1; half <= 2; half++ {
		period := trial.Period{
			TrialID: o.TrialID, ID: w.id(7), EnrolmentID: r.Enrolment.ID, OutingID: o.ID, UnitID: u.ID, Block: strconv.Itoa(n), Half: half,
			Drawn: u.Drawn(half), Fished: u.Drawn(half), Confirmed: true, StartedAt: at, Version: 1,
		}
		w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerPeriod, period.ID, fieldsOf{
			"period": period.ID.Public(), "outing": o.ID.Public(), "unit": u.ID.Public(), "half": half, "fished": period.Fished, "confirmed": true, "week": weekOf(at),
		}, fieldsOf{"started_at": at})
		for range 2 + w.random.IntN(2) {
			at = at.Add(7 * time.Minute)
			w.catch(i, period, at)
		}
		at = at.Add(3 * time.Minute)
		if w.random.IntN(12) == 0 {
			d := trial.Deviation{TrialID: o.TrialID, ID: w.id(7), EnrolmentID: r.Enrolment.ID, OutingID: o.ID, PeriodID: period.ID, Kind: trial.SpacingChanged, FromAt: at.Add(-20 * time.Minute)}
			w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerDeviation, d.ID, fieldsOf{"deviation": d.ID.Public(), "outing": o.ID.Public(), "period": period.ID.Public(), "kind": d.Kind, "week": weekOf(d.FromAt)}, fieldsOf{"from": d.FromAt})
			r.Deviations = append(r.Deviations, d)
		}
		if half == 1 || w.random.IntN(6) > 0 {
			swap := at.Add(-time.Minute)
			period.End = &trial.PeriodEnd{EndedAt: at, SwapNowAt: &swap, Reason: trial.EndedByRule}
			w.enter(&a.Chain, r.Enrolment.ID, trial.LedgerPeriodEnd, period.ID, fieldsOf{"period": period.ID.Public(), "reason": trial.EndedByRule}, fieldsOf{"ended_at": at})
		}
		r.Periods = append(r.Periods, period)
		at = at.Add(2 * time.Minute)
	}
	return at
}

func (w *played) catch(i int, period trial.Period, at time.Time) {
	a := &w.anglers[i]
	c := trial.Catch{
		TrialID: period.TrialID, ID: w.id(7), EnrolmentID: a.Records.Enrolment.ID, PeriodID: period.ID, NotedBy: a.Records.Enrolment.AccountID, TakenPattern: "C", Outcome: trial.Landed, RigIntact: true,
		Species: "Thymallus thymallus", Origin: trial.Wild, CaughtAt: at, NotedAt: at, Version: 1, Length: &trial.Measure{Value: float64(210+w.random.IntN(200)) / 10, Unit: "cm"},
	}
	switch n := w.random.IntN(20); {
	case n < 8:
		c.TakenPattern = "N"
	case n == 8:
		c.TakenPattern = "unknown"
	case n == 9:
		c.TakenPattern, c.TakenPosition = "", trial.Lower
	case n == 10:
		c.Outcome = trial.Lost
	case n == 11:
		c.RigIntact = false
	case n == 12:
		c.NotedAt = at.Add(100 * time.Hour)
	case n == 13:
		c.Length = nil
	case n == 14:
		c.Welfare = "bleeding"
	case n == 15:
		c.NotedBy = w.id(4)
	}
	if c.TakenPattern == "N" && w.random.IntN(5) == 0 {
		c.Origin = trial.Stocked
	}
	public := fieldsOf{
		"catch": c.ID.Public(), "period": period.ID.Public(), "taken_pattern": c.TakenPattern, "taken_position": c.TakenPosition, "outcome": c.Outcome, "foul_hooked": false,
		"rig_intact": c.RigIntact, "double": nil, "species": c.Species, "origin": c.Origin, "length_cm": wholeCM(c.Length), "week": weekOf(at),
	}
	if c.Welfare != "" {
		public["welfare"] = trial.WelfareSigns(c.Welfare)
	}
	w.enter(&a.Chain, a.Records.Enrolment.ID, trial.LedgerCatch, c.ID, public, fieldsOf{"caught_at": at, "note": "=cmd|' /C calc'!A0"})
	a.Records.Catches = append(a.Records.Catches, c)
}

func (w *played) amend(a *SourceAngler, kind string, subject trial.ID, n int, reason string, old, new fieldsOf) {
	w.enter(&a.Chain, a.Records.Enrolment.ID, trial.LedgerAmendment, subject, fieldsOf{
		"kind": kind, "subject": subject.Public(), "n": n, "reason": reason, "by": "angler", "old": old, "new": new,
	}, fieldsOf{"at": w.now})
}

// correctSome corrects a fish and a period of two anglers, and voids a fish.
func (w *played) correctSome() {
	a := &w.anglers[1]
	c := &a.Records.Catches[2]
	taken := map[string]string{"C": "N", "N": "C"}[cmp.Or(c.TakenPattern, "C")]
	taken = cmp.Or(taken, "C")
	w.amend(a, trial.LedgerCatch, c.ID, 1, "=tapped the wrong fly", fieldsOf{"taken_pattern": c.TakenPattern}, fieldsOf{"taken_pattern": taken})
	c.TakenPattern, c.Version = taken, 2
	w.amend(a, trial.LedgerCatch, c.ID, 2, "entered twice", fieldsOf{"void": false}, fieldsOf{"void": true})
	c.Void, c.Version = true, 3
	a = &w.anglers[2]
	p := &a.Records.Periods[1]
	w.amend(a, trial.LedgerPeriod, p.ID, 1, "rigged the wrong way round\r\nand seen at the swap", fieldsOf{"fished": p.Fished}, fieldsOf{"fished": p.Fished.Other()})
	p.Fished, p.Version = p.Fished.Other(), 2
	c = &a.Records.Catches[5]
	w.amend(a, trial.LedgerCatch, c.ID, 1, "Tam Fenner saw it at Mill Reach", fieldsOf{"rig_intact": c.RigIntact}, fieldsOf{"rig_intact": false})
	c.RigIntact, c.Version = false, 2
}

// leaves notes that so many anglers left, with their records kept.
func (w *played) leaves(n int) {
	for i := range n {
		a := &w.anglers[i]
		now := w.now
		a.Records.Enrolment.LeftAt = &now
		w.enter(&a.Chain, a.Records.Enrolment.ID, trial.LedgerWithdrawal, a.Records.Enrolment.ID, fieldsOf{"erased": false, "week": weekOf(now)}, fieldsOf{"at": now})
	}
}

// moreOfOne gives one angler what is rarer: a unit lost with its phone, one by a coin that was fished, an outing opened by mistake, a reading
// of the water, a corrected outing with its end, and a fish that two members agreed to leave out.
func (w *played) moreOfOne() {
	a := &w.anglers[0]
	r, chain := &a.Records, a.Records.Enrolment.ID
	n := len(r.Units)
	key := trial.AllocationKey(w.seed, w.source.Words, chain, r.Enrolment.Code)
	start := r.Outings[len(r.Outings)-1].StartedAt
	lost := trial.Unit{ID: w.id(7), N: n + 1, First: w.source.Protocol.Draw.UnitArrangement(key, n+1), DrawnBy: trial.ByService, DrawN: n + 1, FetchedAt: start, LostAt: &start}
	w.enter(&a.Chain, chain, trial.LedgerUnit, lost.ID, fieldsOf{"unit": lost.ID.Public(), "n": lost.N, "first": lost.First, "same_fly_check": false}, fieldsOf{"fetched_at": start})
	w.enter(&a.Chain, chain, trial.LedgerUnitLost, lost.ID, fieldsOf{"unit": lost.ID.Public()}, fieldsOf{"lost_at": start})
	coin := trial.Unit{ID: w.id(7), N: n + 2, First: trial.ControlLower, DrawnBy: trial.ByCoin, FetchedAt: start, DrawnAt: &start, OpenedAt: &start}
	w.enter(&a.Chain, chain, trial.LedgerUnit, coin.ID, fieldsOf{"unit": coin.ID.Public(), "n": coin.N, "first": coin.First, "same_fly_check": false, "drawn_by": coin.DrawnBy}, fieldsOf{"drawn_at": start})
	r.Units = append(r.Units, lost, coin)
	o := &r.Outings[len(r.Outings)-1]
	period := trial.Period{ID: w.id(7), EnrolmentID: chain, OutingID: o.ID, UnitID: coin.ID, Block: strconv.Itoa(coin.N), Half: 1, Drawn: coin.First, Fished: coin.First, Confirmed: true, StartedAt: start}
	w.enter(&a.Chain, chain, trial.LedgerPeriod, period.ID, fieldsOf{
		"period": period.ID.Public(), "outing": o.ID.Public(), "unit": coin.ID.Public(), "half": 1, "fished": period.Fished, "confirmed": true, "week": weekOf(start),
	}, fieldsOf{"started_at": start})
	r.Periods = append(r.Periods, period)
	flies := period
	flies.ID, flies.Half, flies.Drawn, flies.Fished, flies.TestFly, flies.ControlFly = w.id(7), 2, coin.First.Other(), coin.First.Other(), 3, 4
	w.enter(&a.Chain, chain, trial.LedgerPeriod, flies.ID, fieldsOf{
		"period": flies.ID.Public(), "outing": o.ID.Public(), "unit": coin.ID.Public(), "half": 2, "fished": flies.Fished, "confirmed": true, "week": weekOf(start), "test_fly": 3, "control_fly": 4,
	}, fieldsOf{"started_at": start})
	r.Periods = append(r.Periods, flies)
	after := trial.Unit{ID: w.id(7), N: n + 3, First: w.source.Protocol.Draw.UnitArrangement(key, n+2), DrawnBy: trial.ByService, DrawN: n + 2, FetchedAt: start}
	w.enter(&a.Chain, chain, trial.LedgerUnit, after.ID, fieldsOf{"unit": after.ID.Public(), "n": after.N, "draw_n": after.DrawN, "first": after.First, "same_fly_check": false}, fieldsOf{"fetched_at": start})
	r.Units = append(r.Units, after)
	w.enter(&a.Chain, chain, trial.LedgerTemperature, w.id(7), fieldsOf{"temperature": w.id(7).Public(), "outing": o.ID.Public(), "water_temperature": "12.5 C", "week": weekOf(start)}, fieldsOf{"at": start})
	for range 2 {
		w.enter(&a.Chain, chain, trial.LedgerNoters, chain, fieldsOf{"enrolment": chain}, fieldsOf{"at": start})
	}
	void := trial.Outing{ID: w.id(7), EnrolmentID: chain, ProtocolVersion: 1, StartedAt: start, Void: true}
	w.enter(&a.Chain, chain, trial.LedgerOuting, void.ID, fieldsOf{"outing": void.ID.Public(), "started_late": false, "water_temperature": nil, "week": weekOf(start)}, fieldsOf{"started_at": start})
	w.amend(a, trial.LedgerOuting, void.ID, 1, "opened by mistake", fieldsOf{"void": false}, fieldsOf{"void": true})
	r.Outings = append(r.Outings, void)
	o = &r.Outings[len(r.Outings)-2]
	was := any(nil)
	if o.WaterTemperature != nil {
		was = o.WaterTemperature
	}
	w.amend(a, trial.LedgerOuting, o.ID, 1, "read it again", fieldsOf{"water_temperature": was, "not_logged": o.End.NotLogged, "end_reason": "planned"},
		fieldsOf{"water_temperature": fieldsOf{"value": 13.5, "unit": "C"}, "not_logged": 3, "end_reason": "tired"})
	o.WaterTemperature = &trial.Measure{Value: 13.5, Unit: "C"}
	end := *o.End
	end.NotLogged, end.Reason = 3, "tired"
	o.End = &end
	fish := &r.Catches[len(r.Catches)-1]
	fish.Disputed = true
	d := trial.Dispute{ID: w.id(4), EnrolmentID: chain, Kind: trial.LedgerCatch, Subject: fish.ID, Decisions: []trial.DisputeDecision{
		{N: 1, Decision: trial.Exclude, Reason: "seen on the bank already"}, {N: 2, Decision: trial.Exclude, Reason: "Wilma Rook saw it on the bank"},
	}}
	w.source.Disputes = append(w.source.Disputes, d)
	w.enter(&a.Chain, chain, trial.LedgerDispute, fish.ID, fieldsOf{"dispute": d.ID, "subject": fish.ID.Public(), "kind": d.Kind, "by": "angler", "week": weekOf(w.now)}, fieldsOf{"words": "I saw it jump"})
	for i, made := range d.Decisions {
		outcome := []string{trial.Undecided, trial.Exclude}[i]
		w.enter(&a.Chain, chain, trial.LedgerDecision, fish.ID, fieldsOf{"dispute": d.ID, "subject": fish.ID.Public(), "n": made.N, "decision": made.Decision, "outcome": outcome, "by": "auditor", "week": weekOf(w.now)}, fieldsOf{"reason": made.Reason})
	}
}

// close computes the closing analysis as the service does, and puts the anglers in order.
func (w *played) close() {
	slices.SortFunc(w.anglers, func(a, b SourceAngler) int {
		return cmp.Compare(a.Records.Enrolment.Pseudonym, b.Records.Enrolment.Pseudonym)
	})
	in := analysis.InputOf(w.source.Protocol)
	in.Plan = &analysis.Plan{Rule: w.source.Protocol.Stopping, Power: w.source.Protocol.Power, Closing: true}
	for _, a := range w.anglers {
		tallies, effort := a.Records.Count(w.source.Protocol)
		in.Tallies, in.Effort = append(in.Tallies, tallies...), in.Effort.Add(effort)
		if effort.NotLogged > 0 {
			in.NotLogged = append(in.NotLogged, analysis.AnglerCount{Angler: a.Records.Enrolment.Pseudonym, N: effort.NotLogged})
		}
		e := a.Records.Enrolment
		if a.Records.Enrolment.LeftAt != nil {
			in.Left = append(in.Left, a.Records.Enrolment.Pseudonym)
		}
		in.Draw = append(in.Draw, w.source.Protocol.Draw.Drawn(trial.AllocationKey(w.seed, w.source.Words, e.ID, e.Code), e.Pseudonym, a.Records.Units)...)
	}
	w.closeWith(in)
}

// closeWith computes the closing analysis of the input.
func (w *played) closeWith(in analysis.Input) {
	input, err := analysis.Canonical(in)
	w.must(err)
	in, err = analysis.ReadInput(w.source.Protocol, input)
	w.must(err)
	result, err := analysis.Run(in, analysis.Settings{ProgramVersion: "test"})
	w.must(err)
	encoded, err := result.Encode()
	w.must(err)
	w.source.Closing = trial.Analysis{
		TrialID: w.source.Trial.ID, N: 1, State: trial.Done, Checkpoint: w.source.Checkpoints[len(w.source.Checkpoints)-1].N, ProtocolVersion: 1, ProgramVersion: "test", Input: input, Result: encoded,
	}
	w.source.Anglers = RowsOf(w.anglers)
}

func (w *played) publish() Package {
	w.t.Helper()
	p, err := Publish(w.source, Publishing{Licence: CCBY4, Edition: 1, ProgramVersion: "test"})
	if err != nil {
		w.t.Fatal(err)
	}
	return p
}

func told(v Verdict) string {
	text := ""
	for _, f := range v.Findings {
		text += fmt.Sprintf("%-11s %-16s %s\n", f.Outcome, f.Part, f.Text)
	}
	return text
}
