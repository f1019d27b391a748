package conduct_test

import (
	"context"
	"slices"
	"testing"

	"evenrig/service/conduct"
	"evenrig/service/trial"
)

func words(v conduct.DrawNightView) (list []string) {
	for _, w := range v.Words {
		list = append(list, w.Word)
	}
	return list
}

// Members give words from registration to the first unit; the draw that is handed out, and the seed that is revealed, give
// what the published definition gives with the words in their order.
func TestWordsEnterTheDraw(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c := w.newClub("Wend Grayling Club", 2)
	view := must(w.s.CreateTrial(w.ctx, c.organiser, c.id, ruleSheet()))(t)
	e := &contest{c, view.Trial.ID}
	_, _, err := w.s.GiveWord(w.ctx, c.organiser, e.trial, "early")
	wantKind(t, err, trial.Conflict, "trial.state")
	e.move(trial.Registered)
	give := func(who trial.Actor, word string, created bool) conduct.DrawNightView {
		t.Helper()
		v, made, err := w.s.GiveWord(w.ctx, who, e.trial, word)
		w.ok(err)
		if made != created {
			t.Errorf("%q: created %t", word, made)
		}
		return v
	}
	give(c.eyes, "Nebel", true)
	give(c.organiser, "A\u0308sche", true) // NFD: kept in NFC
	give(c.organiser, "\u00c4sche", false) // the same word
	_, _, err = w.s.GiveWord(w.ctx, c.organiser, e.trial, "other")
	wantKind(t, err, trial.Conflict, "word.given")
	for _, bad := range []string{"", "two words", "nul\x00", "\xff"} {
		_, _, err = w.s.GiveWord(w.ctx, c.anglers[0], e.trial, bad)
		wantFields(t, err, "word")
	}
	e.move(trial.Open)
	r := e.join(c.anglers[0])
	seen := give(c.anglers[0], "Rinne", true)
	want := []string{"Nebel", "\u00c4sche", "Rinne"}
	if !slices.Equal(words(seen), want) || seen.Words[0].Mine || !seen.Words[2].Mine || seen.ClosedAt != nil {
		t.Errorf("the list is %+v", seen)
	}
	for range 6 {
		r.unit()
	}
	_, _, err = w.s.GiveWord(w.ctx, c.anglers[1], e.trial, "late")
	wantKind(t, err, trial.Conflict, "words.closed")
	w.wantSound()
	e.lock()
	locked := must(w.s.Trial(w.ctx, c.organiser, e.trial))(t)
	units := must(w.s.Units(w.ctx, r.actor, e.trial))(t)
	drawn := drawAgain(*locked.Trial.Seed, want, r.enrolment, r.code, ruleSheet().Draw.GroupSizes, len(units))
	for i, u := range units {
		if u.Unit.First != drawn[i] {
			t.Errorf("unit %d is %s, the definition gives %s", i+1, u.Unit.First, drawn[i])
		}
	}
	// An erased giver's word stays and is nobody's.
	w.ok(w.s.Withdraw(w.ctx, r.actor, e.trial, true))
	after := must(w.s.DrawNight(w.ctx, c.organiser, e.trial))(t)
	if !slices.Equal(words(after), want) {
		t.Errorf("after an erasure the words are %+v", after)
	}
	w.ok(w.store.InReadTx(w.ctx, func(ctx context.Context, tx trial.ReadTx) error {
		night, err := tx.DrawNightOf(ctx, e.trial)
		if err == nil && !night.Words[2].AccountID.IsZero() {
			t.Error("the erased giver is still known")
		}
		return err
	}))
	w.wantSound()
}

// The organiser closes the list once; what is closed takes no word, and closing again changes nothing.
func TestOrganiserClosesDrawNight(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 2).opened(ruleSheet())
	closed := must(w.s.CloseDrawNight(w.ctx, e.organiser, e.trial))(t)
	again := must(w.s.CloseDrawNight(w.ctx, e.organiser, e.trial))(t)
	if closed.ClosedAt == nil || !closed.ClosedAt.Equal(*again.ClosedAt) {
		t.Errorf("closed at %v, then %v", closed.ClosedAt, again.ClosedAt)
	}
	_, _, err := w.s.GiveWord(w.ctx, e.anglers[0], e.trial, "late")
	wantKind(t, err, trial.Conflict, "words.closed")
}

// Words sent at once with the first units: whatever comes through, every unit of every angler is drawn with the same words.
func TestWordsAgainstTheFirstUnit(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	e := w.newClub("Wend Grayling Club", 4).opened(ruleSheet())
	rods := []*rod{e.join(e.anglers[0]), e.join(e.anglers[1])}
	ids := []trial.ID{w.id(), w.id()}
	errs := w.together(func(n int, s *conduct.Service) error {
		if n < 2 {
			_, err := s.FetchUnit(w.ctx, rods[n].actor, e.trial, ids[n])
			return err
		}
		_, _, err := s.GiveWord(w.ctx, e.anglers[n], e.trial, []string{"", "", "Nebel", "Rinne"}[n])
		if trial.KindOf(err) == trial.Conflict {
			err = nil // the first unit came before it
		}
		return err
	})
	wantWon(t, "units and words", errs, 4, trial.Internal)
	for _, r := range rods {
		for range 5 {
			r.unit()
		}
	}
	list := words(must(w.s.DrawNight(w.ctx, e.organiser, e.trial))(t))
	e.lock()
	seed := *must(w.s.Trial(w.ctx, e.organiser, e.trial))(t).Trial.Seed
	for _, r := range rods {
		units := must(w.s.Units(w.ctx, r.actor, e.trial))(t)
		drawn := drawAgain(seed, list, r.enrolment, r.code, ruleSheet().Draw.GroupSizes, len(units))
		for i, u := range units {
			if u.Unit.First != drawn[i] {
				t.Errorf("unit %d is %s, the definition gives %s with the words %q", i+1, u.Unit.First, drawn[i], list)
			}
		}
	}
	w.wantSound()
}
