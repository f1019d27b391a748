package trial_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// Who is left out of a published package. The rule of three is common practice in disclosure control (Hundepool et al. 2012,
// Statistical Disclosure Control, Wiley; from memory); the cases follow from it by hand.
func TestWithheld(t *testing.T) {
	open := func(name string, n int) trial.Share { return trial.Share{Pseudonym: name, Open: true, Records: n} }
	closed := func(name string, n int) trial.Share { return trial.Share{Pseudonym: name, Records: n} }
	for _, c := range []struct {
		name    string
		anglers []trial.Share
		want    string
		fails   bool
	}{
		{"all agree", []trial.Share{open("A", 1), open("B", 9)}, "", false},
		{"alone and agrees", []trial.Share{open("A", 5)}, "", false},
		{"one does not: the two with the fewest records join", []trial.Share{closed("A", 9), open("B", 5), open("C", 4), open("D", 4), open("E", 9)}, "A C D", false},
		{"two do not: ties go by pseudonym", []trial.Share{closed("A", 9), closed("E", 1), open("D", 4), open("C", 4)}, "A C E", false},
		{"three do not: nobody joins", []trial.Share{closed("A", 9), closed("B", 1), closed("C", 4), open("D", 1)}, "A B C", false},
		{"one without records needs no company", []trial.Share{closed("A", 0), open("B", 5)}, "A", false},
		{"who has no records is no company", []trial.Share{closed("A", 3), open("B", 0), open("C", 2), open("D", 2)}, "A C D", false},
		{"three in all: all are left out", []trial.Share{closed("A", 9), open("B", 5), open("C", 4)}, "A B C", false},
		{"two in all", []trial.Share{closed("A", 9), open("B", 5)}, "", true},
		{"alone and does not", []trial.Share{closed("A", 9)}, "", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := trial.Withheld(c.anglers)
			if c.fails {
				if trial.KindOf(err) != trial.Conflict {
					t.Fatalf("got %v, want a conflict", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, a := range c.anglers {
				if out[a.Pseudonym] {
					got = append(got, a.Pseudonym)
				}
			}
			if sorted(got) != c.want {
				t.Errorf("left out %q, want %q", sorted(got), c.want)
			}
		})
	}
}

func sorted(list []string) string {
	for i := range list {
		for j := range list[:i] {
			if list[i] < list[j] {
				list[i], list[j] = list[j], list[i]
			}
		}
	}
	return strings.Join(list, " ")
}

func TestSuppressionOfCellsWeeksAndSpecies(t *testing.T) {
	const trout, grayling, near, far = "Salmo trutta", "Thymallus thymallus", "54.1N 2.3W", "54.2N 2.3W"
	var rows []trial.Base
	for _, a := range []string{"A", "B", "C"} { // three in the near cell in week 36, with trout
		rows = append(rows, trial.Base{Angler: a, Cell: near, Week: "2026-W36"}, trial.Base{Angler: a, Cell: near, Week: "2026-W36", Species: trout})
	}
	rows = append(rows,
		trial.Base{Angler: "A", Cell: near, Week: "2026-W36", Species: grayling}, // one with grayling there
		trial.Base{Angler: "D", Cell: far, Week: "2026-W36"},                     // one in the far cell
		trial.Base{Angler: "D", Cell: far, Week: "2026-W36", Species: trout},
		trial.Base{Angler: "A", Cell: near, Week: "2026-W37"}, // two in week 37
		trial.Base{Angler: "B", Cell: near, Week: "2026-W37"},
		trial.Base{Angler: "B", Cell: near, Week: "2026-W37", Species: trout},
	)
	s := trial.NewSuppression(rows)
	for _, c := range []struct{ cell, week, species, wantCell, wantWeek, wantSpecies string }{
		{near, "2026-W36", trout, near, "2026-W36", trout},
		{near, "2026-W36", grayling, near, "2026-W36", ""},
		{far, "2026-W36", trout, "", "2026-W36", ""},
		{near, "2026-W37", trout, "", "", ""},
		{near, "2026-W38", trout, "", "", ""},
	} {
		cell, week := s.Place(c.cell, c.week)
		if species := s.Species(c.cell, c.week, c.species); cell != c.wantCell || week != c.wantWeek || species != c.wantSpecies {
			t.Errorf("%+v: shown %q %q %q", c, cell, week, species)
		}
	}
}

// Whatever the records, what is shown is shared by three anglers or more of what is shown.
func TestSuppressionLeavesNoSmallGroup(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) trial.Base {
			return trial.Base{
				Angler: rapid.SampledFrom([]string{"A", "B", "C", "D", "E"}).Draw(rt, "angler"), Cell: rapid.SampledFrom([]string{"", "c1", "c2"}).Draw(rt, "cell"),
				Week: rapid.SampledFrom([]string{"w1", "w2", "w3"}).Draw(rt, "week"), Species: rapid.SampledFrom([]string{"", "s1", "s2"}).Draw(rt, "species"),
			}
		}), 0, 40).Draw(rt, "rows")
		s := trial.NewSuppression(rows)
		shared := map[[3]string]map[string]bool{}
		add := func(key [3]string, angler string) {
			if shared[key] == nil {
				shared[key] = map[string]bool{}
			}
			shared[key][angler] = true
		}
		for _, r := range rows {
			cell, week := s.Place(r.Cell, r.Week)
			if cell != "" {
				add([3]string{"cell", cell, week}, r.Angler)
			}
			if week != "" {
				add([3]string{"week", week}, r.Angler)
			}
			if r.Species != "" {
				if species := s.Species(r.Cell, r.Week, r.Species); species != "" {
					add([3]string{cell, week, species}, r.Angler)
				}
			}
		}
		for key, anglers := range shared {
			if len(anglers) < trial.FewestShown {
				rt.Fatalf("%q is shown of %d anglers", key, len(anglers))
			}
		}
	})
}
