package trial_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenrig/service/trial"
)

// What Template leaves open is what only the organiser knows: the question, the two flies, where, when, for which fish,
// and the gear that has no usual value. The fields without a usual value are common practice, no source.
func TestTemplateLacksOnlyWhatIsLeftOpen(t *testing.T) {
	wantFaults(t, trial.Template().Validate(),
		"title", "question", "feature_changed",
		"patterns", "patterns[0].code", "patterns[0].name", "patterns[1].code", "patterns[1].name",
		"species", "waters", "season_start", "season_end", "rig.tippet_mm", "rig.hook_model", "rig.hook_size")
}

// Usual values: common practice of two-fly fishing and of trial planning, no source; alpha and power as in any textbook;
// water temperatures by DAERA's guidance on angling in warm water (care from 18 degrees C, stop at 20).
func TestTemplateHasTheUsualValues(t *testing.T) {
	p := trial.Template()
	for _, c := range []struct {
		field     string
		got, want any
	}{
		{"primary_outcome", p.PrimaryOutcome, "landed_fish"},
		{"direction", p.Direction, "two_sided"},
		{"smallest_share", p.SmallestShare, 60},
		{"alpha", p.Alpha, .05},
		{"power", p.Power, .8},
		{"design", p.Design, trial.Paired},
		{"source", p.Source, trial.Drawn},
		{"stopping", string(p.Stopping), "fixed"},
		{"min_anglers", p.MinAnglers, 6},
		{"lower_word", p.LowerWord, "point"},
		{"upper_word", p.UpperWord, "dropper"},
		{"place_grid", p.PlaceGrid, "none"},
		{"min_length_mm", p.MinLengthMM, 0},
		{"flies", p.Rig.Flies, 2},
		{"spacing_cm", p.Rig.SpacingCM, 20.},
		{"spacing_tolerance_cm", p.Rig.SpacingToleranceCM, 5.},
		{"dropper_mount", p.Rig.DropperMount, "tag"},
		{"dropper_tag_cm", p.Rig.DropperTagCM, 10.},
		{"barb", p.Rig.Barb, "barbless"},
		{"weight_at", p.Rig.WeightAt, "in_fly"},
		{"specimens_per_pattern", p.Rig.SpecimensPerPattern, 3},
		{"replace_after_fish", p.Rig.ReplaceAfterFish, 15},
		{"presentation", p.Rig.Presentation, "any"},
		{"method", p.Draw.Method, "permuted_blocks"},
		{"trip_units", p.Draw.TripUnits, 8},
		{"same_fly_check", p.Draw.SameFlyCheck, 0},
		{"block_may_span_outings", p.Draw.BlockMaySpan, false},
		{"after_fish", *p.Swap.AfterFish, 2},
		{"after_minutes", *p.Swap.AfterMinutes, 45},
		{"by", p.Swap.By, "retie"},
		{"grace_minutes", p.Swap.GraceMinutes, 5},
		{"cool_down_casts", p.Swap.CoolDownCasts, 1},
		{"min_minutes", p.OutingLimits.MinMinutes, 60},
		{"max_minutes", p.OutingLimits.MaxMinutes, 480},
		{"late_limit_h", p.OutingLimits.LateLimitH, 72},
		{"caution_c", p.Welfare.CautionC, 18.},
		{"stop_c", p.Welfare.StopC, 20.},
	} {
		if c.got != c.want {
			t.Errorf("%s is %v, want %v", c.field, c.got, c.want)
		}
	}
	if !slices.Equal(p.Draw.GroupSizes, []int{2, 4}) {
		t.Errorf("group sizes %v, want 2 and 4", p.Draw.GroupSizes)
	}
	if !slices.Equal(p.EndRule, []string{"date", "total_fish"}) {
		t.Errorf("end rule %v, want date and total_fish", p.EndRule)
	}
}

// Two templates share nothing: whoever changes one must not change the other.
func TestTemplatesShareNothing(t *testing.T) {
	a := trial.Template()
	*a.Swap.AfterFish, a.Draw.GroupSizes[0], a.Patterns[0].Code, a.EndRule[0] = 9, 6, "X", "x"
	a.Welfare.Cautions[0].Text = "changed"
	b := trial.Template()
	if *b.Swap.AfterFish == 9 || b.Draw.GroupSizes[0] == 6 || b.Patterns[0].Code == "X" || b.EndRule[0] == "x" || b.Welfare.Cautions[0].Text == "changed" {
		t.Error("a change of one template shows in another")
	}
}

func TestCompleteProtocolPasses(t *testing.T) {
	if err := complete().Validate(); err != nil {
		t.Fatal(err)
	}
	p := complete()
	p.Design, p.Swap.AfterFish, p.Swap.AfterMinutes = trial.PairedByOuting, nil, nil
	if err := p.Validate(); err != nil {
		t.Errorf("paired_by_outing: %v", err)
	}
	p = complete()
	p.Source, p.Rig, p.Draw, p.Swap, p.OutingLimits = trial.Recorded, trial.Rig{}, trial.Draw{}, trial.Swap{}, trial.Outings{}
	if err := p.Validate(); err != nil {
		t.Errorf("recorded: %v", err)
	}
}

type edge struct {
	field string
	set   func(p *trial.Protocol, v float64)
	// The least and the greatest value accepted, and the step by which a value just outside is made.
	low, high, step float64
}

// Ranges: the protocol's own rules (common practice, no source).
var edges = []edge{
	{"smallest_share", func(p *trial.Protocol, v float64) { p.SmallestShare = int(v) }, 51, 90, 1},
	{"alpha", func(p *trial.Protocol, v float64) { p.Alpha = v }, .001, .2, 1e-9},
	{"power", func(p *trial.Protocol, v float64) { p.Power = v }, .5, .99, 1e-9},
	{"min_length_mm", func(p *trial.Protocol, v float64) { p.MinLengthMM = int(v) }, 0, 2000, 1},
	{"rig.spacing_cm", func(p *trial.Protocol, v float64) { p.Rig.SpacingCM = v }, 5, 300, 1e-6},
	{"rig.spacing_tolerance_cm", func(p *trial.Protocol, v float64) { p.Rig.SpacingToleranceCM = v }, 0, 20, 1e-6},
	{"rig.dropper_tag_cm", func(p *trial.Protocol, v float64) { p.Rig.DropperTagCM = v }, 2, 30, 1e-6},
	{"rig.tippet_mm", func(p *trial.Protocol, v float64) { p.Rig.TippetMM = v }, .08, .60, 1e-9},
	{"rig.tippet_lb", func(p *trial.Protocol, v float64) { p.Rig.TippetLB = &v }, .5, 40, 1e-6},
	{"rig.weight_g", func(p *trial.Protocol, v float64) { p.Rig.WeightG = &v }, 0, 10, 1e-6},
	{"rig.bead_mm", func(p *trial.Protocol, v float64) { p.Rig.BeadMM = &v }, 0, 8, 1e-6},
	{"rig.specimens_per_pattern", func(p *trial.Protocol, v float64) { p.Rig.SpecimensPerPattern = int(v) }, 1, 20, 1},
	{"rig.replace_after_fish", func(p *trial.Protocol, v float64) { p.Rig.ReplaceAfterFish = int(v) }, 1, 200, 1},
	{"draw.trip_units", func(p *trial.Protocol, v float64) { p.Draw.TripUnits = int(v) }, 1, 16, 1},
	{"draw.same_fly_check", func(p *trial.Protocol, v float64) { p.Draw.SameFlyCheck = int(v) }, 0, 20, 1},
	{"swap.after_fish", func(p *trial.Protocol, v float64) { p.Swap.AfterFish = ptr(int(v)) }, 1, 20, 1},
	{"swap.after_minutes", func(p *trial.Protocol, v float64) { p.Swap.AfterMinutes = ptr(int(v)) }, 5, 180, 1},
	{"swap.grace_minutes", func(p *trial.Protocol, v float64) { p.Swap.GraceMinutes = int(v) }, 0, 15, 1},
	{"swap.cool_down_casts", func(p *trial.Protocol, v float64) { p.Swap.CoolDownCasts = int(v) }, 0, 5, 1},
	{"outing_limits.late_limit_h", func(p *trial.Protocol, v float64) { p.OutingLimits.LateLimitH = int(v) }, 0, 720, 1},
	{"welfare.caution_c", func(p *trial.Protocol, v float64) { p.Welfare.CautionC, p.Welfare.StopC = v, 25 }, 10, 25, 1e-6},
	{"welfare.stop_c", func(p *trial.Protocol, v float64) { p.Welfare.CautionC, p.Welfare.StopC = 10, v }, 10, 25, 1e-6},
	{"outing_limits.min_minutes", func(p *trial.Protocol, v float64) { p.OutingLimits.MinMinutes, p.OutingLimits.MaxMinutes = int(v), 720 }, 15, 720, 1},
	{"outing_limits.max_minutes", func(p *trial.Protocol, v float64) { p.OutingLimits.MinMinutes, p.OutingLimits.MaxMinutes = 15, int(v) }, 15, 720, 1},
	{"species", func(p *trial.Protocol, v float64) { p.Species = manySpecies(int(v)) }, 1, 20, 1},
	{"waters", func(p *trial.Protocol, v float64) { p.Waters = manyWaters(int(v)) }, 1, 50, 1},
	{"title", func(p *trial.Protocol, v float64) { p.Title = strings.Repeat("ü", int(v)) }, 5, 120, 1},
	{"question", func(p *trial.Protocol, v float64) { p.Question = strings.Repeat("ü", int(v)) }, 20, 500, 1},
	{"feature_changed", func(p *trial.Protocol, v float64) { p.FeatureChanged = strings.Repeat("ü", int(v)) }, 3, 200, 1},
}

func manySpecies(n int) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = "Thymallus " + strings.Repeat("a", i+1)
	}
	return list
}

func manyWaters(n int) []trial.Water {
	list := make([]trial.Water, n)
	for i := range list {
		list[i] = trial.Water{Name: "Beat " + strings.Repeat("I", i+1), WaterType: "river"}
	}
	return list
}

func TestEdgesOfRanges(t *testing.T) {
	for _, e := range edges {
		t.Run(e.field, func(t *testing.T) {
			for _, v := range []float64{e.low, e.high} {
				p := complete()
				e.set(&p, v)
				wantFaultsAbout(t, p, e.field, false, v)
			}
			for _, v := range []float64{e.low - e.step, e.high + e.step} {
				if v < 0 && e.step == 1 && (e.field == "species" || e.field == "waters") {
					continue
				}
				p := complete()
				e.set(&p, v)
				wantFaultsAbout(t, p, e.field, true, v)
			}
		})
	}
}

func wantFaultsAbout(t *testing.T, p trial.Protocol, field string, want bool, v float64) {
	t.Helper()
	got := faultsIn(t, p.Validate())
	if slices.Contains(got, field) != want {
		t.Errorf("%v: faults %q; %s among them should be %t", v, got, field, want)
	}
	if !want && len(got) > 0 {
		t.Errorf("%v: faults %q, want none", v, got)
	}
}

// A number that is none is outside every range (IEEE 754: every comparison with NaN is false).
func TestNumbersThatAreNone(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		p := complete()
		p.Alpha, p.Power, p.Welfare.CautionC, p.Welfare.StopC = bad, bad, bad, bad
		p.Rig.SpacingCM, p.Rig.SpacingToleranceCM, p.Rig.DropperTagCM, p.Rig.TippetMM = bad, bad, bad, bad
		p.Rig.TippetLB, p.Rig.WeightG, p.Rig.BeadMM = &bad, &bad, &bad
		wantFaults(t, p.Validate(), "alpha", "power", "welfare.caution_c", "welfare.stop_c", "rig.spacing_cm", "rig.spacing_tolerance_cm",
			"rig.dropper_tag_cm", "rig.tippet_mm", "rig.tippet_lb", "rig.weight_g", "rig.bead_mm")
	}
}

// Words accepted and refused: the protocol's own lists (common practice, no source).
func TestWords(t *testing.T) {
	for _, c := range []struct {
		field    string
		set      func(p *trial.Protocol, s string)
		accepted []string
		refused  []string
	}{
		{"direction", func(p *trial.Protocol, s string) { p.Direction = s }, []string{"two_sided"}, []string{"", "one_sided", "Two_sided"}},
		{"primary_outcome", func(p *trial.Protocol, s string) { p.PrimaryOutcome = s }, []string{"landed_fish"}, []string{"", "casts"}},
		{"source", func(p *trial.Protocol, s string) { p.Source = trial.Source(s) }, []string{"drawn", "recorded"}, []string{"", "imported"}},
		{"place_grid", func(p *trial.Protocol, s string) { p.PlaceGrid = s }, []string{"none", "10km", "1km"}, []string{"", "100m", "exact"}},
		{"rig.dropper_mount", func(p *trial.Protocol, s string) { p.Rig.DropperMount = s }, []string{"tag", "bend", "loop", "in_line"}, []string{"", "knot"}},
		{"rig.hook_size", func(p *trial.Protocol, s string) { p.Rig.HookSize = s }, []string{"1/0", "1", "14", "32"}, []string{"", "0", "33", "2/0", "14x", "-1", "014", "1/0 "}},
		{"rig.weight_at", func(p *trial.Protocol, s string) { p.Rig.WeightAt = s }, []string{"in_fly", "on_line", "below_flies"}, []string{"", "above"}},
		{"rig.presentation", func(p *trial.Protocol, s string) { p.Rig.Presentation = s }, []string{"upstream", "across", "downstream", "still", "any"}, []string{"", "up"}},
		{"swap.by", func(p *trial.Protocol, s string) { p.Swap.By = s }, []string{"retie", "spare_cast"}, []string{"", "cut"}},
		{"season_start", func(p *trial.Protocol, s string) { p.SeasonStart = s }, []string{"2026-09-01", "2024-02-29", "2026-11-30"}, []string{"", "2026-02-29", "1.9.2026", "2026-9-1", "2026-13-01"}},
		{"patterns[0].code", func(p *trial.Protocol, s string) { p.Patterns[0].Code = s }, []string{"A", "A-2.b_c+", strings.Repeat("x", 20)}, []string{"", "unknown", "other", "a b", strings.Repeat("x", 21), "é", "-A", "a,b", "a\n"}},
		{"species[0]", func(p *trial.Protocol, s string) { p.Species[0] = s }, []string{"Salmo trutta", "Salmo trutta fario"}, []string{"", "trout", "Trout", "salmo trutta", "SALMO TRUTTA", "other", "unknown"}},
	} {
		for _, word := range c.accepted {
			p := complete()
			c.set(&p, word)
			if got := faultsIn(t, p.Validate()); slices.Contains(got, c.field) {
				t.Errorf("%s %q: refused, want accepted", c.field, word)
			}
		}
		for _, word := range c.refused {
			p := complete()
			c.set(&p, word)
			if got := faultsIn(t, p.Validate()); !slices.Contains(got, c.field) {
				t.Errorf("%s %q: faults %q, want one of it", c.field, word, got)
			}
		}
	}
}

func TestTheDraw(t *testing.T) {
	for _, c := range []struct {
		name  string
		draw  func(d *trial.Draw)
		fault string
	}{
		{"2 and 4", func(d *trial.Draw) {}, ""},
		{"6 alone", func(d *trial.Draw) { d.GroupSizes = []int{6} }, ""},
		{"coin", func(d *trial.Draw) { d.Method, d.GroupSizes = trial.CoinPerBlock, nil }, ""},
		{"no size", func(d *trial.Draw) { d.GroupSizes = nil }, "draw.group_sizes"},
		{"odd size", func(d *trial.Draw) { d.GroupSizes = []int{3} }, "draw.group_sizes[0]"},
		{"nothing in a group", func(d *trial.Draw) { d.GroupSizes = []int{2, 0} }, "draw.group_sizes[1]"},
		{"coin with sizes", func(d *trial.Draw) { d.Method = trial.CoinPerBlock }, "draw.group_sizes"},
		{"unknown method", func(d *trial.Draw) { d.Method = "biased_coin" }, "draw.method"},
	} {
		p := complete()
		c.draw(&p.Draw)
		got := faultsIn(t, p.Validate())
		if c.fault == "" && len(got) > 0 || c.fault != "" && !slices.Contains(got, c.fault) {
			t.Errorf("%s: faults %q, want %q", c.name, got, c.fault)
		}
	}
}

// The two flies are two: one test, one control, two codes, two words for two positions.
func TestTheTwoFlies(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(p *trial.Protocol)
		fault string
	}{
		{"one pattern", func(p *trial.Protocol) { p.Patterns = p.Patterns[:1] }, "patterns"},
		{"three patterns", func(p *trial.Protocol) { p.Patterns = append(p.Patterns, trial.Pattern{Code: "X"}) }, "patterns"},
		{"no patterns", func(p *trial.Protocol) { p.Patterns = nil }, "patterns"},
		{"one code", func(p *trial.Protocol) { p.Patterns[1].Code = p.Patterns[0].Code }, "patterns"},
		{"two tests", func(p *trial.Protocol) { p.Patterns[1].Part = trial.Test }, "patterns"},
		{"no part", func(p *trial.Protocol) { p.Patterns[1].Part = "" }, "patterns[1].part"},
		{"one word", func(p *trial.Protocol) { p.UpperWord = p.LowerWord }, "upper_word"},
		{"no word", func(p *trial.Protocol) { p.LowerWord = "" }, "lower_word"},
		{"three flies on the line", func(p *trial.Protocol) { p.Rig.Flies = 3 }, "rig.flies"},
		{"end before start", func(p *trial.Protocol) { p.SeasonEnd = "2026-08-31" }, "season_end"},
		{"stop before care", func(p *trial.Protocol) { p.Welfare.CautionC = 20.5 }, "welfare.stop_c"},
		{"longest below shortest outing", func(p *trial.Protocol) { p.OutingLimits.MaxMinutes = 59 }, "outing_limits.max_minutes"},
		{"no end rule", func(p *trial.Protocol) { p.EndRule = nil }, "end_rule"},
		{"four subgroups", func(p *trial.Protocol) { p.Subgroups = []string{"species", "origin", "month", "water_type"} }, "subgroups"},
		{"a water twice", func(p *trial.Protocol) { p.Waters[1].Name = p.Waters[0].Name }, "waters[1].name"},
		{"a species twice", func(p *trial.Protocol) { p.Species = append(p.Species, p.Species[0]) }, "species[1]"},
		{"no swap rule", func(p *trial.Protocol) { p.Swap.AfterFish, p.Swap.AfterMinutes = nil, nil }, "swap"},
		{"a swap rule by outing", func(p *trial.Protocol) { p.Design = trial.PairedByOuting }, "swap"},
		{"no fish", func(p *trial.Protocol) { p.MaxFish = 0 }, "max_fish"},
		{"no anglers", func(p *trial.Protocol) { p.MinAnglers = 0 }, "min_anglers"},
	} {
		p := complete()
		c.spoil(&p)
		if got := faultsIn(t, p.Validate()); !slices.Contains(got, c.fault) {
			t.Errorf("%s: faults %q, want %q among them", c.name, got, c.fault)
		}
	}
}

// Texts are for people to read: the C0 controls and DEL (ECMA-48) and broken UTF-8 (RFC 3629) are refused everywhere,
// a line break is none of them.
func TestControlCharacters(t *testing.T) {
	fields := map[string]func(p *trial.Protocol, s string){
		"title":                    func(p *trial.Protocol, s string) { p.Title = s },
		"question":                 func(p *trial.Protocol, s string) { p.Question = s },
		"feature_changed":          func(p *trial.Protocol, s string) { p.FeatureChanged = s },
		"patterns[1].name":         func(p *trial.Protocol, s string) { p.Patterns[1].Name = s },
		"patterns[1].shape":        func(p *trial.Protocol, s string) { p.Patterns[1].Shape = s },
		"patterns[1].colour":       func(p *trial.Protocol, s string) { p.Patterns[1].Colour = s },
		"lower_word":               func(p *trial.Protocol, s string) { p.LowerWord = s },
		"upper_word":               func(p *trial.Protocol, s string) { p.UpperWord = s },
		"waters[0].name":           func(p *trial.Protocol, s string) { p.Waters[0].Name = s },
		"waters[0].water_type":     func(p *trial.Protocol, s string) { p.Waters[0].WaterType = s },
		"rig.hook_model":           func(p *trial.Protocol, s string) { p.Rig.HookModel = s },
		"rig.tied_by":              func(p *trial.Protocol, s string) { p.Rig.TiedBy = s },
		"rig.batch":                func(p *trial.Protocol, s string) { p.Rig.Batch = s },
		"welfare.local_rules":      func(p *trial.Protocol, s string) { p.Welfare.LocalRules = s },
		"welfare.report_line":      func(p *trial.Protocol, s string) { p.Welfare.ReportLine = s },
		"welfare.cautions[0].text": func(p *trial.Protocol, s string) { p.Welfare.Cautions[0].Text = s },
	}
	for field, set := range fields {
		for _, bad := range []string{"\x00", "\x07", "\x1b[2J", "\x7f", "\xff", "\xed\xa0\x80", "\r"} {
			p := complete()
			set(&p, "a text of twenty-odd letters"+bad)
			if got := faultsIn(t, p.Validate()); !slices.Contains(got, field) {
				t.Errorf("%s with %q: faults %q, want one of it", field, bad, got)
			}
		}
	}
	p := complete()
	p.Question = "Does a collar change\nthe share of takes?"
	wantFaults(t, p.Validate())
}

// A protocol with many faults names each of them at once.
func TestEveryFaultIsNamed(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		p := complete()
		var want []string
		for _, e := range edges {
			// Each edge alone: those of min and max move their partner, and an empty list hides nothing.
			if !rapid.Bool().Draw(rt, e.field) || e.field == "welfare.stop_c" || e.field == "outing_limits.max_minutes" {
				continue
			}
			e.set(&p, e.high+e.step)
			want = append(want, e.field)
		}
		got := faultsIn(t, p.Validate())
		for _, field := range want {
			if !slices.Contains(got, field) {
				rt.Errorf("%s is not among the faults %q", field, got)
			}
		}
	})
}

func TestFliesByArrangement(t *testing.T) {
	p := complete()
	if lower, upper := p.Flies(trial.TestLower); lower != "C" || upper != "N" {
		t.Errorf("test_lower: %s lower, %s upper; want C, N", lower, upper)
	}
	if lower, upper := p.Flies(trial.ControlLower); lower != "N" || upper != "C" {
		t.Errorf("control_lower: %s lower, %s upper; want N, C", lower, upper)
	}
	p.Patterns[0], p.Patterns[1] = p.Patterns[1], p.Patterns[0]
	if lower, upper := p.Flies(trial.TestLower); lower != "C" || upper != "N" {
		t.Errorf("the order in which the patterns are listed changes the rig: %s, %s", lower, upper)
	}
	if p.Code(trial.Test) != "C" || p.Code(trial.Control) != "N" {
		t.Errorf("codes %s, %s", p.Code(trial.Test), p.Code(trial.Control))
	}
	if _, known := p.PartOf("unknown"); known {
		t.Error("unknown is taken for a pattern")
	}
}
