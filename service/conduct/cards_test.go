package conduct_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"evenrig/service/trial"
)

// pocketCard is a card of an afternoon: a round by slip 3 fished to its end with four fish, two of them a double, and the first half
// of one by an own coin.
func pocketCard(begun time.Time, slip trial.Arrangement) trial.PaperCard {
	at := func(minutes int) time.Time { return begun.Add(time.Duration(minutes) * time.Minute) }
	swap := func(minutes int) *time.Time { t := at(minutes); return &t }
	fish := func(minutes int, pattern string) trial.PaperFish {
		return trial.PaperFish{CaughtAt: at(minutes), TakenPattern: pattern, Outcome: trial.Landed, RigIntact: true, Species: "Thymallus thymallus", Origin: trial.Wild}
	}
	double := func(f trial.PaperFish) trial.PaperFish { f.Double = 1; return f }
	return trial.PaperCard{
		WrittenAt: at(180),
		Outing:    trial.PaperOuting{Water: "Upper Wend", StartedAt: at(0), EndedAt: at(170), Reason: "planned", NotLogged: 1},
		Rounds: []trial.PaperRound{
			{DrawnBy: trial.BySlip, Slip: 3, First: slip, Halves: []trial.PaperHalf{
				{StartedAt: at(10), Confirmed: true, EndedAt: at(60), SwapNowAt: swap(55), Reason: trial.EndedByRule, Fish: []trial.PaperFish{fish(20, "C"), fish(50, "N")}},
				{StartedAt: at(60), Confirmed: true, EndedAt: at(110), SwapNowAt: swap(105), Reason: trial.EndedByRule, Fish: []trial.PaperFish{double(fish(70, "C")), double(fish(70, "N"))}},
			}},
			{DrawnBy: trial.ByCoin, First: trial.ControlLower, Halves: []trial.PaperHalf{
				{StartedAt: at(115), Confirmed: true, EndedAt: at(170), Reason: "outing_ended", Fish: []trial.PaperFish{fish(120, "unknown")}},
			}},
		},
	}
}

// A guest's card is typed 12 days later: it is not late, and gives the same fish as a phone would have. Typed by two members it gives
// them once; where the second typing differs the organiser sees where, and nobody sees what.
func TestCards(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	rules := ruleSheet()
	rules.OutingLimits.LateLimitH = 72
	e := w.newClub("Wend Grayling Club", 3).opened(rules)
	guide, second := e.anglers[0], e.anglers[1]
	r := e.join(e.anglers[2])
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{guide.AccountID, second.AccountID}))
	sheet := must(w.s.PrintSlips(w.ctx, e.eyes, e.trial, r.enrolment, 4))(t)
	begun := w.clock.read()
	card := pocketCard(begun, sheet.Slips[2].First)
	w.clock.move(12 * 24 * time.Hour)
	by := r.as(guide).actor

	stranger := e.organiser
	stranger.For = r.enrolment
	_, err := w.s.TypeCard(w.ctx, stranger, e.trial, 12, card)
	wantKind(t, err, trial.NotFound, "not_found")
	_, err = w.s.TypeCard(w.ctx, stranger, e.trial, 0, card)
	wantKind(t, err, trial.NotFound, "not_found")

	// A fault anywhere saves nothing, and says where it is.
	for path, spoil := range map[string]func(c *trial.PaperCard){
		"outing.water":                              func(c *trial.PaperCard) { c.Outing.Water = "Elsewhere" },
		"outing.reason":                             func(c *trial.PaperCard) { c.Outing.Reason = "dull" },
		"rounds[0].slip":                            func(c *trial.PaperCard) { c.Rounds[0].Slip = 9 },
		"rounds[0].halves[1].swap_now_at":           func(c *trial.PaperCard) { c.Rounds[0].Halves[1].SwapNowAt = nil },
		"rounds[0].halves[0].started_at":            func(c *trial.PaperCard) { c.Rounds[0].Halves[0].StartedAt = begun.Add(-time.Hour) },
		"rounds[1].halves[0].fish[0].species":       func(c *trial.PaperCard) { c.Rounds[1].Halves[0].Fish[0].Species = "grayling" },
		"rounds[0].halves[0].fish[1].noted_at":      func(c *trial.PaperCard) { c.WrittenAt = begun.Add(30 * time.Minute) },
		"rounds[1].halves":                          func(c *trial.PaperCard) { c.Rounds[1].Halves = nil },
		"written_at":                                func(c *trial.PaperCard) { c.WrittenAt = w.clock.read().Add(48 * time.Hour) },
		"rounds[0].halves[0].fish[0].welfare":       func(c *trial.PaperCard) { c.Rounds[0].Halves[0].Fish[0].Welfare = []string{"sad"} },
		"rounds[0].unit":                            func(c *trial.PaperCard) { c.Rounds[0].Unit = &r.enrolment },
		"rounds[0].halves[0].fish[0].taken_pattern": func(c *trial.PaperCard) { c.Rounds[0].Halves[0].Fish[0].TakenPattern = "" },
	} {
		bad := pocketCard(begun, sheet.Slips[2].First)
		spoil(&bad)
		_, err := w.s.TypeCard(w.ctx, by, e.trial, 12, bad)
		var fault *trial.Error
		if !errors.As(err, &fault) || !slices.ContainsFunc(fault.Fields, func(f trial.FieldError) bool { return f.Field == path }) {
			t.Errorf("%s: %v", path, err)
		}
	}
	if list := must(w.s.Outings(w.ctx, r.actor, e.trial, everything))(t); len(list) != 0 {
		t.Fatalf("half a card was saved: %+v", list)
	}

	typed := must(w.s.TypeCard(w.ctx, by, e.trial, 12, card))(t)
	if !typed.Created || len(typed.Periods) != 3 || len(typed.Catches) != 5 {
		t.Errorf("typed %+v", typed)
	}
	again := must(w.s.TypeCard(w.ctx, by, e.trial, 12, card))(t)
	checked := must(w.s.TypeCard(w.ctx, r.as(second).actor, e.trial, 12, card))(t)
	if again.Created || checked.Created || !slices.Equal(again.Catches, typed.Catches) || !slices.Equal(checked.Periods, typed.Periods) {
		t.Errorf("again %+v, by another %+v", again, checked)
	}
	list := must(w.s.Cards(w.ctx, e.organiser, e.trial))(t)
	if len(list) != 1 || list[0].Number != 12 || list[0].TypedBy != "angler 1 of Wend Grayling Club" || list[0].AgainBy != "angler 2 of Wend Grayling Club" || len(list[0].Differs) != 0 {
		t.Errorf("cards %+v", list)
	}
	other := pocketCard(begun, sheet.Slips[2].First)
	other.Rounds[0].Halves[0].Fish[1].TakenPattern = "C"
	other.Outing.NotLogged = 0
	_, err = w.s.TypeCard(w.ctx, r.as(second).actor, e.trial, 12, other)
	wantKind(t, err, trial.Conflict, "card.differs")
	want := []string{"outing.not_logged", "rounds[0].halves[0].fish[1].taken_pattern"}
	if list = must(w.s.Cards(w.ctx, e.eyes, e.trial))(t); !slices.Equal(list[0].Differs, want) {
		t.Errorf("differs in %q, want %q", list[0].Differs, want)
	}
	if text := err.Error(); strings.Contains(text, `"N"`) || strings.Contains(text, `"C"`) {
		t.Errorf("the refusal tells a pattern: %s", text)
	}
	_, err = w.s.TypeCard(w.ctx, guide, e.trial, 13, card)
	wantKind(t, err, trial.NotFound, "not_enrolled")
	own := e.join(guide)
	_, err = w.s.TypeCard(w.ctx, own.actor, e.trial, 12, card)
	wantKind(t, err, trial.Conflict, "card.taken")

	fish := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t)
	excluded := map[trial.Exclusion]int{}
	for _, c := range fish {
		excluded[c.Excluded]++
		if c.Catch.NotedBy != guide.AccountID || !c.Catch.NotedAt.Equal(card.WrittenAt) {
			t.Errorf("noted by %s at %s", c.Catch.NotedBy, c.Catch.NotedAt)
		}
	}
	if excluded[trial.Analysed] != 2 || excluded[trial.Double] != 2 || excluded[trial.NotSure] != 1 || fish[2].Catch.DoubleID != fish[3].Catch.DoubleID {
		t.Errorf("fish %v", excluded)
	}
	p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort
	if p.Cards != 1 || p.TypedFish != 5 || p.LateNoted != 0 || p.SlipBlocks != 1 || p.CoinBlocks != 1 || p.FinishedBlocks != 1 || p.NotLogged != 1 {
		t.Errorf("counted %+v", p)
	}
	if faults := must(w.s.Check(w.ctx))(t).Faults; len(faults) > 0 {
		t.Error(strings.Join(faults, "\n"))
	}

	// With paper out the trial can be locked only when no card can be on its way any more.
	e.move(trial.Closed)
	w.clock.move(29 * 24 * time.Hour)
	_, err = w.s.MoveTrial(w.ctx, e.organiser, e.trial, trial.Locked, "")
	wantKind(t, err, trial.Conflict, "trial.too_early")
	// A card handed in now took longer than 30 days: it is taken, and flagged as late.
	lateCard := pocketCard(begun.Add(24*time.Hour), sheet.Slips[0].First)
	lateCard.Rounds[0].Slip = 1
	must(w.s.TypeCard(w.ctx, by, e.trial, 14, lateCard))(t)
	if p := must(w.s.Progress(w.ctx, e.eyes, e.trial))(t).Effort; p.LateNoted != 5 || p.Cards != 2 {
		t.Errorf("counted %+v", p)
	}
	w.clock.move(24 * time.Hour)
	e.move(trial.Locked)

	// Erasing takes the card too.
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	if list := must(w.s.Cards(w.ctx, e.organiser, e.trial))(t); len(list) != 0 {
		t.Errorf("after erasing: %+v", list)
	}
}

// Two who type the same card at once make one card of it.
func TestCardTypedTwiceAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 3).opened(ruleSheet())
	r := e.join(e.anglers[2])
	typists := e.anglers[:2]
	w.ok(w.s.SetNoters(w.ctx, r.actor, e.trial, []trial.ID{typists[0].AccountID, typists[1].AccountID}))
	card := pocketCard(w.clock.read(), trial.TestLower)
	card.Rounds = card.Rounds[1:]
	w.clock.move(5 * time.Hour)
	type answer struct {
		created bool
		err     error
	}
	answers := make(chan answer)
	for i := range 6 {
		go func() {
			view, err := w.s.TypeCard(context.Background(), r.as(typists[i%2]).actor, e.trial, 7, card)
			answers <- answer{view.Created, err}
		}()
	}
	created := 0
	for range 6 {
		a := <-answers
		if a.err != nil {
			t.Error(a.err)
		}
		if a.created {
			created++
		}
	}
	if fish := must(w.s.Catches(w.ctx, r.actor, e.trial, everything))(t); created != 1 || len(fish) != 1 {
		t.Errorf("created %d times, %d fish", created, len(fish))
	}
}
