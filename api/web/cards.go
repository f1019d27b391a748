package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// cardRoutes are where paper cards are typed in: a line a fish, by keyboard alone, and all of a card or nothing.
func (s *Site) cardRoutes() []Route {
	return []Route{
		{Method: http.MethodGet, Path: "/trials/:trial/cards", Signed: true, Handle: s.cardsPage},
		{Method: http.MethodPost, Path: "/trials/:trial/cards", Signed: true, Handle: s.typeCard},
	}
}

// What the form has room for at first, and at most. Lines that are left empty count for nothing.
const (
	roundsOfCard, mostRoundsOfCard = 4, 9
	fishOfCard, mostFishOfCard     = 16, 96
)

// room is how many lines of a kind the form has: as many as it was sent with.
func (f *Form) room(name string, least, most int) int {
	n, err := f.whole(name)
	if err != nil {
		return least
	}
	return max(least, min(n, most))
}

// makeRoom adds a round, or lines for more fish, to a form that asks for them.
func (f *Form) makeRoom() {
	rounds, fish := f.room("room_rounds", roundsOfCard, mostRoundsOfCard), f.room("room_fish", fishOfCard, mostFishOfCard)
	f.Set("room_rounds", strconv.Itoa(min(rounds+1, mostRoundsOfCard)))
	f.Set("room_fish", strconv.Itoa(min(fish+fishOfCard/2, mostFishOfCard)))
}

type cardView struct {
	standing
	*Form
	For    []conduct.NotedFor
	Typed  []conduct.TypedCard // for who may read the list
	Units  []conduct.UnitView  // carried rounds of the angler that are not fished yet
	Rounds []cardRound
	Fish   []cardLine
}

type cardRound struct {
	N      int
	Halves [2]string // the prefix of the fields of each half
	Prefix string
}

type cardLine struct {
	N      int
	Prefix string
}

// More reports whether the form can have more room yet.
func (c cardView) More() bool {
	return len(c.Rounds) < mostRoundsOfCard || len(c.Fish) < mostFishOfCard
}

func (s *Site) card(v *Visit, f *Form) (view cardView, err error) {
	view.Form = f
	if view.standing, err = s.standing(v); err != nil {
		return view, err
	}
	if view.For, err = s.service.NotedFor(v.Ctx(), v.Actor, view.ID()); err != nil {
		return view, err
	}
	if trial.Permit(trial.ReadCards, view.Club.Role) == nil {
		if view.Typed, err = s.service.Cards(v.Ctx(), v.Actor, view.ID()); err != nil {
			return view, err
		}
	}
	if view.Units, err = s.carried(v, view.standing, f.Get("for")); err != nil {
		return view, err
	}
	for i := range f.room("room_rounds", roundsOfCard, mostRoundsOfCard) {
		at := fmt.Sprintf("rounds[%d]", i)
		view.Rounds = append(view.Rounds, cardRound{i + 1, [2]string{at + ".halves[0]", at + ".halves[1]"}, at})
	}
	for i := range f.room("room_fish", fishOfCard, mostFishOfCard) {
		view.Fish = append(view.Fish, cardLine{i + 1, fmt.Sprintf("fish[%d]", i)})
	}
	return view, nil
}

// carried lists the rounds that were drawn for the angler and not begun: one of them may be what the card was fished by.
func (s *Site) carried(v *Visit, t standing, whose string) (waiting []conduct.UnitView, err error) {
	actor, err := forAngler(v.Actor, whose)
	if err != nil || actor.For.IsZero() && t.Enrolment == nil {
		return nil, err
	}
	units, err := s.service.Units(v.Ctx(), actor, t.ID())
	for _, u := range units {
		if u.Unit.OpenedAt == nil && u.Unit.LostAt == nil {
			waiting = append(waiting, u)
		}
	}
	return waiting, err
}

// forAngler is the actor, for the angler whom a form names; "" is for himself.
func forAngler(actor trial.Actor, whose string) (trial.Actor, error) {
	if whose == "" {
		return actor, nil
	}
	id, err := trial.ParseID(whose)
	if err != nil {
		return actor, trial.Missing("angler")
	}
	actor.For = id
	return actor, nil
}

func (s *Site) cardsPage(v *Visit) error {
	u := v.units()
	f := newForm(url.Values{
		"for": {v.QueryParam("for")}, "unit_length": {u.Length}, "unit_temperature": {u.Temperature}, "zone": {"+00:00"}, "reason": {"planned"}, "not_logged": {"0"},
		"day": {s.service.Now().Format(time.DateOnly)},
	})
	view, err := s.card(v, f)
	if err != nil {
		return err
	}
	return v.Page("cards", view)
}

func (s *Site) typeCard(v *Visit) error {
	f, err := v.Form()
	if err != nil {
		return err
	}
	more := f.Get("more") != ""
	if more {
		f.makeRoom()
	}
	view, err := s.card(v, f)
	if err != nil {
		return err
	}
	if more {
		return v.Page("cards", view)
	}
	actor, err := forAngler(v.Actor, f.Get("for"))
	if err != nil {
		return err
	}
	typed := &typing{f: f, rounds: len(view.Rounds), t: view.standing, lines: map[string]int{}}
	number, card, err := typed.card()
	if err == nil {
		_, err = s.service.TypeCard(v.Ctx(), actor, view.ID(), number, card)
	}
	if err != nil {
		if failed, ok := errors.AsType[*trial.Error](err); ok {
			f.fail(failed)
			f.Faults = typed.beside(f.Faults)
		}
		return v.again("cards", view, err)
	}
	return v.See(trialPath(view.ID(), "/cards?for="+url.QueryEscape(f.Get("for"))), "card_typed")
}

// typing turns the form into a card. lines remembers where each fish of the card stands in the form.
type typing struct {
	f       *Form
	rounds  int
	t       standing
	faults  trial.Faults
	day     time.Time
	doubles []time.Time
	lines   map[string]int
}

func (c *typing) card() (number int, card trial.PaperCard, err error) {
	number = c.whole("number")
	c.day = c.date()
	out := trial.PaperOuting{
		Water: c.f.Get("water"), StartedAt: c.at("first_cast"), EndedAt: c.at("last_cast"), Reason: c.f.Get("reason"), NotLogged: c.whole("not_logged"),
		Conditions: c.f.Get("conditions"), Note: c.f.Get("note"),
	}
	if c.f.Get("temperature") != "" {
		out.WaterTemperature = c.measured("temperature", c.f.Get("unit_temperature"))
	}
	card.Outing, card.WrittenAt = out, out.EndedAt
	fish, counted := c.fish()
	if c.f.Get("sum") != "" && c.whole("sum") != counted {
		c.faults.Add("sum", "is %s, and %d fish are typed; accepted: the number of fish on the card", c.f.Get("sum"), counted)
	}
	for i := range c.rounds {
		if round, fished := c.round(i, fish); fished {
			card.Rounds = append(card.Rounds, round)
		}
	}
	for half := range fish {
		if len(fish[half]) > 0 {
			c.faults.Add(fmt.Sprintf("fish[%d].half", c.lines[half+".fish[0]"]), "names a half that is not typed above; accepted: a round's number with its half, like 11 or 12")
		}
	}
	return number, card, c.faults.Err("card.invalid", "the card has faults")
}

func (c *typing) whole(name string) int {
	n, err := c.f.whole(name)
	if err != nil {
		c.faults.Add(name, "is %q; accepted: a whole number", c.f.Get(name))
	}
	return n
}

func (c *typing) date() time.Time {
	day, err := time.Parse(time.DateOnly+" -07:00", c.f.Get("day")+" "+c.f.Get("zone"))
	if err != nil {
		c.faults.Add("day", "is %q with the offset %q; accepted: a date, and an offset like +02:00", c.f.Get("day"), c.f.Get("zone"))
	}
	return day
}

// at reads a clock time of the card's day: 8:05, 08.05 or 0805.
func (c *typing) at(name string) time.Time {
	text := strings.NewReplacer(":", "", ".", "", " ", "").Replace(c.f.Get(name))
	if len(text) == 3 {
		text = "0" + text
	}
	clock, err := time.Parse("1504", text)
	if err != nil {
		c.faults.Add(name, "is %q; accepted: a time of that day, like 8:05 or 0805", c.f.Get(name))
		return c.day
	}
	return c.day.Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute)
}

func (c *typing) measured(name, unit string) *trial.Measure {
	value, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(c.f.Get(name)), ",", ".", 1), 64)
	if err != nil || value-value != 0 {
		c.faults.Add(name, "is %q; accepted: a number", c.f.Get(name))
		return nil
	}
	return &trial.Measure{Value: value, Unit: unit}
}

// round reads a round of the card; false where its line was left empty. A half ends where the next begins, the last with the
// outing, unless the card says when.
func (c *typing) round(i int, fish map[string][]trial.PaperFish) (round trial.PaperRound, fished bool) {
	at := fmt.Sprintf("rounds[%d]", i)
	if c.f.Get(at+".halves[0].started_at") == "" {
		return round, false
	}
	lower, err := c.arrangement(at + ".lower")
	if err != nil {
		c.faults.Add(at+".lower", "%s", err)
	}
	switch by := c.f.Get(at + ".drawn_by"); by {
	case string(trial.BySlip), string(trial.ByCoin):
		round.DrawnBy, round.First = trial.DrawnBy(by), lower
		if round.DrawnBy == trial.BySlip {
			round.Slip = c.whole(at + ".slip")
		}
	default:
		id, err := trial.ParseID(by)
		if err != nil {
			c.faults.Add(at+".drawn_by", "is %q; accepted: slip, coin, or a carried round", by)
		}
		round.Unit = &id
	}
	for j := range 2 {
		name := fmt.Sprintf("%s.halves[%d]", at, j)
		if c.f.Get(name+".started_at") == "" {
			continue
		}
		half := trial.PaperHalf{StartedAt: c.at(name + ".started_at"), Confirmed: true, Fished: lower}
		if j == 1 && lower != "" {
			half.Fished = lower.Other()
		}
		half.Fish = fish[name]
		delete(fish, name)
		half.EndedAt, half.Reason = c.ending(i, j)
		if half.Reason == trial.EndedByRule {
			half.SwapNowAt = &half.EndedAt
		}
		round.Halves = append(round.Halves, half)
	}
	return round, true
}

// ending is when and why half j of round i ended.
func (c *typing) ending(i, j int) (time.Time, string) {
	name := fmt.Sprintf("rounds[%d].halves[%d]", i, j)
	next := fmt.Sprintf("rounds[%d].halves[%d].started_at", i+j, 1-j)
	last := c.f.Get(next) == ""
	reason := cmp.Or(c.f.Get(name+".reason"), map[bool]string{true: "outing_ended", false: trial.EndedByRule}[last])
	switch {
	case c.f.Get(name+".ended_at") != "":
		return c.at(name + ".ended_at"), reason
	case last:
		return c.at("last_cast"), reason
	}
	return c.at(next), reason
}

// arrangement reads which fly was lower in a round's first half.
func (c *typing) arrangement(name string) (trial.Arrangement, error) {
	part, known := c.t.Protocol.PartOf(c.f.Get(name))
	switch {
	case !known:
		return "", fmt.Errorf("is %q; accepted: %s, %s", c.f.Get(name), c.t.Protocol.Code(trial.Test), c.t.Protocol.Code(trial.Control))
	case part == trial.Test:
		return trial.TestLower, nil
	}
	return trial.ControlLower, nil
}

// fish reads the lines of fish, by half, and how many there are.
func (c *typing) fish() (of map[string][]trial.PaperFish, n int) {
	of = map[string][]trial.PaperFish{}
	for i := range c.f.room("room_fish", fishOfCard, mostFishOfCard) {
		at := fmt.Sprintf("fish[%d]", i)
		if c.f.Get(at+".half") == "" && c.f.Get(at+".took") == "" {
			continue
		}
		n++
		half := strings.TrimSpace(c.f.Get(at + ".half"))
		if len(half) != 2 || half[0] < '1' || half[0] > byte('0'+c.rounds) || half[1] != '1' && half[1] != '2' {
			c.faults.Add(at+".half", "is %q; accepted: a round's number with its half, like 11 or 12", half)
			continue
		}
		path := fmt.Sprintf("rounds[%d].halves[%d]", half[0]-'1', half[1]-'1')
		c.lines[fmt.Sprintf("%s.fish[%d]", path, len(of[path]))] = i
		of[path] = append(of[path], c.line(at))
	}
	return of, n
}

// The marks of a line, as they stand on the printed card.
const (
	markLost, markTouched, markFoul, markDouble, markRig, markWild, markStocked, markDead, markBleeding, markDeep = "l", "t", "f", "2", "r", "w", "s", "d", "b", "h"
)

func (c *typing) line(at string) trial.PaperFish {
	marks := strings.ToLower(c.f.Get(at + ".marks"))
	has := func(mark string) bool { return strings.Contains(marks, mark) }
	if unknown := strings.Trim(marks, markLost+markTouched+markFoul+markDouble+markRig+markWild+markStocked+markDead+markBleeding+markDeep+" ,"); unknown != "" {
		c.faults.Add(at+".marks", "has %q; accepted: l t f 2 r w s d b h", unknown)
	}
	fish := trial.PaperFish{
		CaughtAt: c.at(at + ".caught_at"), TakenPattern: c.took(at + ".took"), Outcome: trial.Landed, FoulHooked: has(markFoul), RigIntact: !has(markRig),
		Species: cmp.Or(c.f.Get(at+".species"), c.t.Protocol.Species[0]), Origin: trial.UnknownOrigin, Welfare: []string{},
	}
	switch {
	case has(markLost):
		fish.Outcome = trial.Lost
	case has(markTouched):
		fish.Outcome = trial.Touched
	}
	switch {
	case has(markWild):
		fish.Origin = trial.Wild
	case has(markStocked):
		fish.Origin = trial.Stocked
	}
	if has(markDouble) {
		fish.Double = c.double(fish.CaughtAt)
	}
	for mark, sign := range map[string]string{markDead: "dead", markBleeding: "bleeding", markDeep: "deep_hooked"} {
		if has(mark) {
			fish.Welfare = append(fish.Welfare, sign)
		}
	}
	slices.Sort(fish.Welfare)
	if c.f.Get(at+".length") != "" {
		fish.Length = c.measured(at+".length", c.f.Get("unit_length"))
	}
	return fish
}

// double numbers the doubles of a card: the fish that came at one time are one.
func (c *typing) double(at time.Time) int {
	if i := slices.IndexFunc(c.doubles, at.Equal); i >= 0 {
		return i + 1
	}
	c.doubles = append(c.doubles, at)
	return len(c.doubles)
}

// took reads what a fish took: a code, in any case, ? for not sure, 3 for a third fly.
func (c *typing) took(name string) string {
	text := strings.TrimSpace(c.f.Get(name))
	switch text {
	case "?":
		return string(trial.TookUnknown)
	case "3":
		return string(trial.TookOther)
	}
	for _, p := range c.t.Protocol.Patterns {
		if strings.EqualFold(p.Code, text) {
			return p.Code
		}
	}
	return text
}

// beside names the faults of a card's records by the fields of the form.
func (c *typing) beside(faults map[string]string) map[string]string {
	renamed := map[string]string{}
	rename := strings.NewReplacer("outing.started_at", "first_cast", "outing.ended_at", "last_cast", "outing.water_temperature", "temperature", "outing.", "", ".taken_pattern", ".took", ".first", ".lower")
	for name, detail := range faults {
		for path, line := range c.lines {
			if below, found := strings.CutPrefix(name, path+"."); found {
				name = fmt.Sprintf("fish[%d].%s", line, below)
			}
		}
		renamed[rename.Replace(name)] = detail
	}
	return renamed
}
