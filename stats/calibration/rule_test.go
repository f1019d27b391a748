package calibration_test

import (
	"slices"
	"strings"
	"testing"

	"evenrig/stats/calibration"
)

// row is a hand-made row: coverage with its Monte Carlo error, and width.
func row(anglers, fish int, method string, coverage, mcError, width float64) calibration.Row {
	r := calibration.Row{Cell: calibration.Cell{Anglers: anglers, Fish: fish, LowerShare: .5, TestShare: .5}, Method: method}
	r.Coverage = calibration.Figure{Value: coverage, MCError: mcError, Known: true}
	r.ShareWidth = calibration.Figure{Value: width, MCError: .001, Known: true}
	return r
}

func TestTheRuleOnHandMadeTables(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		rows   []calibration.Row
		method string
		order  []string // of the judgements
		failed map[string]int
	}{
		{name: "nothing"},
		{
			name: "the narrowest of those that cover; covering too often is allowed",
			rows: []calibration.Row{
				row(5, 5, "wide", .99, .002, .5), row(8, 5, "wide", 1, 0, .4),
				row(5, 5, "right", .95, .004, .4), row(8, 5, "right", .95, .004, .3),
				row(5, 5, "narrow", .80, .006, .2), row(8, 5, "narrow", .94, .004, .1),
			},
			method: "right", order: []string{"right", "wide", "narrow"}, failed: map[string]int{"narrow": 1},
		},
		{
			name: "two Monte Carlo errors below 94 % still pass, more do not",
			rows: []calibration.Row{
				row(5, 5, "just", .9326, .0038, .3), row(5, 5, "not", .9320, .0038, .2),
			},
			method: "just", order: []string{"just", "not"}, failed: map[string]int{"not": 1},
		},
		{
			name: "fewer than five anglers do not count",
			rows: []calibration.Row{
				row(4, 5, "a", .5, .01, .9), row(5, 5, "a", .95, .004, .3),
				row(4, 5, "b", .95, .004, .1), row(5, 5, "b", .95, .004, .4),
			},
			method: "a", order: []string{"a", "b"},
		},
		{
			name: "none qualifies: fewest failures first",
			rows: []calibration.Row{
				row(5, 5, "a", .8, .004, .1), row(6, 5, "a", .8, .004, .1),
				row(5, 5, "b", .8, .004, .3), row(6, 5, "b", .95, .004, .3),
			},
			order: []string{"b", "a"}, failed: map[string]int{"a": 2, "b": 1},
		},
		{
			name: "a method that was not tried everywhere cannot be chosen",
			rows: []calibration.Row{
				row(5, 5, "a", .95, .004, .3), row(6, 5, "a", .95, .004, .3), row(5, 5, "b", .95, .004, .1),
			},
			method: "a", order: []string{"a", "b"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			choice := calibration.Choose(c.rows, nil)
			if choice.Method != c.method {
				t.Errorf("chosen is %q, want %q", choice.Method, c.method)
			}
			var order []string
			for _, j := range choice.Judgements {
				order = append(order, j.Method)
				if len(j.Failed) != c.failed[j.Method] {
					t.Errorf("%s fails in %d cells, want %d", j.Method, len(j.Failed), c.failed[j.Method])
				}
			}
			if !slices.Equal(order, c.order) {
				t.Errorf("order is %q, want %q", order, c.order)
			}
		})
	}
}

func TestTheRuleAmongSomeCells(t *testing.T) {
	t.Parallel()
	rows := []calibration.Row{
		row(5, 5, "a", .5, .01, .1), row(12, 5, "a", .95, .004, .1),
		row(5, 5, "b", .96, .004, .2), row(12, 5, "b", .96, .004, .2),
	}
	at := func(k int) func(calibration.Cell) bool {
		return func(c calibration.Cell) bool { return c.Anglers == k }
	}
	if five, twelve := calibration.Choose(rows, at(5)), calibration.Choose(rows, at(12)); five.Method != "b" || twelve.Method != "a" {
		t.Errorf("chosen at 5 anglers is %q, at 12 %q; want b, a", five.Method, twelve.Method)
	}
	worst := calibration.Choose(rows, nil).Judgements[1].Failed[0]
	if worst.Cell.Anglers != 5 || worst.Coverage.Value != .5 {
		t.Errorf("worst cell is %+v", worst)
	}
}

func TestTheRuleIsPrinted(t *testing.T) {
	t.Parallel()
	rows := []calibration.Row{
		row(4, 5, "a", .5, .01, .6), row(5, 5, "a", .95, .004, .3), row(12, 5, "a", .96, .004, .2),
		row(4, 5, "b", .9, .01, .6), row(5, 5, "b", .80, .004, .2), row(12, 5, "b", .95, .004, .1),
	}
	var page strings.Builder
	if err := calibration.WriteMarkdown(&page, rows); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"| 1 | a | yes, chosen | 25.0 | 95.0 | 0 of 2 |  |",
		"| 2 | b | no | 15.0 | 80.0 | 1 of 2 | K5_n5_u0_v0_low5_test5 |",
		"| 4 | 1 | 50.0 to 50.0 | 60.0 | nothing promised |",
		"| 5 | 1 | 95.0 to 95.0 | 30.0 | a, 30.0 |",
		"| 12 | 1 | 96.0 to 96.0 | 20.0 | b, 10.0 |",
		"| K4_n5_u0_v0_low5_test5 | **50.0** | **90.0** |",
		"| K5_n5_u0_v0_low5_test5 | 95.0 | **80.0** |",
		"| K12_n5_u0_v0_low5_test5 | 96.0 ± 0.4 | 20.0 ± 0.1 | - | - | - | - | - |",
	} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q:\n%s", want, page.String())
		}
	}
	if err := calibration.WriteMarkdown(&page, nil); err != nil {
		t.Error(err)
	}
}
