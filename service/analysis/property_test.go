package analysis_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"evenrig/service/analysis"
	"evenrig/service/trial"
)

// drawInput makes up the records of a few anglers: often few fish, empty cells, missing days and fish not analysed.
func drawInput(t *rapid.T, most int64) analysis.Input {
	in := analysis.Input{
		Test: "A", Control: "B", Source: rapid.SampledFrom([]trial.Source{trial.Drawn, trial.Recorded}).Draw(t, "source"),
		SmallestShare: rapid.SampledFrom([]float64{0, .55, .6, .9}).Draw(t, "smallest"),
	}
	for i := range rapid.IntRange(0, 8).Draw(t, "anglers") {
		for o := range rapid.IntRange(1, 3).Draw(t, "outings") {
			n := rapid.Int64Range(0, most)
			r := rig{
				angler: fmt.Sprintf("angler %d", i), outing: fmt.Sprintf("day %d", o), block: fmt.Sprint(rapid.IntRange(0, 2).Draw(t, "block")),
				a: n.Draw(t, "a"), b: n.Draw(t, "b"), c: n.Draw(t, "c"), d: n.Draw(t, "d"),
			}
			if rapid.IntRange(0, 9).Draw(t, "day unknown") == 0 {
				r.outing = ""
			}
			week := rapid.IntRange(0, 6).Draw(t, "week")
			for _, tally := range r.tallies() {
				tally.Species = rapid.SampledFrom([]string{"Salmo trutta", "Thymallus thymallus", ""}).Draw(t, "species")
				tally.WaterType = rapid.SampledFrom([]string{"river", "stillwater"}).Draw(t, "water")
				if week > 0 {
					tally.Week = fmt.Sprintf("2026-W%02d", 10+week)
				}
				in.Tallies = append(in.Tallies, tally)
			}
			in.Tallies = append(in.Tallies, trial.Tally{
				Angler: r.angler, Outing: r.outing, Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: rapid.Int64Range(0, 2).Draw(t, "unsure"),
				Arrangement: rapid.SampledFrom([]trial.Arrangement{trial.TestLower, trial.ControlLower, ""}).Draw(t, "unsure in"),
			})
		}
	}
	drawOrders(t, &in)
	return in
}

// drawOrders gives the blocks of some inputs a draw by coin, halves, and now and then a period fished the other way round.
func drawOrders(t *rapid.T, in *analysis.Input) {
	if !rapid.Bool().Draw(t, "halves known") {
		return
	}
	drawn := in.Source == trial.Drawn
	in.Choices.Method = trial.CoinPerBlock
	first := map[[2]string]trial.Arrangement{}
	for i := range in.Tallies {
		tally := &in.Tallies[i]
		if tally.Arrangement == "" {
			continue
		}
		key := [2]string{tally.Angler, tally.Block}
		if first[key] == "" {
			first[key] = rapid.SampledFrom([]trial.Arrangement{trial.TestLower, trial.ControlLower}).Draw(t, "first")
			if drawn {
				in.Draw = append(in.Draw, trial.DrawnBlock{Angler: key[0], Block: key[1], Group: len(in.Draw) + 1, Size: 1, First: first[key]})
			}
		}
		tally.Half = 2
		if tally.Arrangement == first[key] {
			tally.Half = 1
		}
		if drawn {
			tally.Drawn, tally.Finished = tally.Arrangement, rapid.Bool().Draw(t, "finished")
			if rapid.IntRange(0, 7).Draw(t, "deviated") == 0 {
				tally.Drawn, tally.Deviated, tally.Half = tally.Arrangement.Other(), true, 3-tally.Half
			}
		}
	}
}

// withPatternsSwapped is the same records with the test pattern called the control.
func withPatternsSwapped(in analysis.Input) analysis.Input {
	other := map[trial.Taken]trial.Taken{trial.TookTest: trial.TookControl, trial.TookControl: trial.TookTest}
	tallies := slices.Clone(in.Tallies)
	for i, tally := range tallies {
		if tally.Arrangement != "" {
			tallies[i].Arrangement = tally.Arrangement.Other()
		}
		if tally.Drawn != "" {
			tallies[i].Drawn = tally.Drawn.Other()
		}
		if swap, ok := other[tally.Taken]; ok {
			tallies[i].Taken = swap
		}
	}
	draw := slices.Clone(in.Draw)
	for i := range draw {
		draw[i].First = draw[i].First.Other()
	}
	in.Tallies, in.Draw = tallies, draw
	return in
}

// swapped returns the input with other fish: each tally passed through change.
func swapped(in analysis.Input, change func(*trial.Tally)) analysis.Input {
	tallies := make([]trial.Tally, len(in.Tallies))
	for i, t := range in.Tallies {
		if t.Exclusion == trial.Analysed {
			change(&t)
		}
		tallies[i] = t
	}
	in.Tallies = tallies
	return in
}

func encode(t rapid.TB, r analysis.Result) []byte {
	encoded, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return encoded
}

// The order of the tallies, and whether they are merged, changes no byte; the encoding reads back as it was.
func TestOrderChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 12)
		first, err := analysis.Run(in, analysis.Settings{ProgramVersion: "test"})
		if err != nil {
			t.Fatal(err)
		}
		var other []trial.Tally
		for _, tally := range in.Tallies {
			for ; tally.N > 3; tally.N -= 2 {
				part := tally
				part.N = 2
				other = append(other, part)
			}
			other = append(other, tally)
		}
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)).Shuffle(len(other), func(i, j int) { other[i], other[j] = other[j], other[i] })
		in.Tallies = other
		second, err := analysis.Run(in, analysis.Settings{ProgramVersion: "test"})
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(encode(t, first), encode(t, second)) {
			t.Fatalf("another order gives another result:\n%s\n%s", encode(t, first), encode(t, second))
		}
		back, err := analysis.Decode(encode(t, first))
		if err != nil || !bytes.Equal(encode(t, back), encode(t, first)) {
			t.Fatalf("the result does not read back: %v", err)
		}
	})
}

// Calling the test pattern the control turns θ and the verdict over and leaves β; calling the lower position the upper
// turns β over and leaves θ.
func TestSwappingLabels(t *testing.T) {
	t.Parallel()
	turned := map[analysis.VerdictCode]analysis.VerdictCode{
		analysis.TestTakesMore: analysis.ControlTakesMore, analysis.ControlTakesMore: analysis.TestTakesMore,
		analysis.Even: analysis.Even, analysis.NotSettled: analysis.NotSettled,
	}
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 12)
		r, err := analysis.Run(in, analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		patterns, err := analysis.Run(withPatternsSwapped(in), analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		positions, err := analysis.Run(swapped(in, func(tally *trial.Tally) { tally.Arrangement = tally.Arrangement.Other() }), analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		if patterns.Verdict.Code != turned[r.Verdict.Code] || positions.Verdict.Code != r.Verdict.Code {
			t.Fatalf("verdict %s, patterns swapped %s, positions swapped %s", r.Verdict.Code, patterns.Verdict.Code, positions.Verdict.Code)
		}
		if patterns.Headline.Method != r.Headline.Method || positions.Headline.Method != r.Headline.Method {
			t.Fatalf("headline %s, patterns swapped %s, positions swapped %s", r.Headline.Method, patterns.Headline.Method, positions.Headline.Method)
		}
		same(t, "θ, patterns swapped", r.Headline.LogOdds, patterns.Headline.LogOdds, -1)
		same(t, "low, patterns swapped", r.Headline.Low, patterns.Headline.High, -1)
		same(t, "θ, positions swapped", r.Headline.LogOdds, positions.Headline.LogOdds, 1)
		same(t, "high, positions swapped", r.Headline.High, positions.Headline.High, 1)
		same(t, "p, patterns swapped", r.Headline.P, patterns.Headline.P, 1)
		sameBeside(t, r, patterns)
		if m := r.MixedModel; m != nil {
			same(t, "β, patterns swapped", m.PositionLogOdds, patterns.MixedModel.PositionLogOdds, 1)
			same(t, "β, positions swapped", m.PositionLogOdds, positions.MixedModel.PositionLogOdds, -1)
			same(t, "log likelihood, patterns swapped", m.LogLikelihood, patterns.MixedModel.LogLikelihood, 1)
			same(t, "log likelihood, positions swapped", m.LogLikelihood, positions.MixedModel.LogLikelihood, 1)
		}
	})
}

// sameBeside compares what stands beside two headlines whose patterns' names were changed over: every θ and slope of it turns
// over, no p changes.
func sameBeside(t *rapid.T, r, s analysis.Result) {
	if (r.Randomisation == nil) != (s.Randomisation == nil) {
		t.Fatal("one has a randomisation test, the other not")
	}
	if a, b := r.Randomisation, s.Randomisation; a != nil {
		same(t, "randomisation", &a.P, &b.P, 1)
		same(t, "randomisation by angler", a.AnglersP, b.AnglersP, 1)
	}
	if a, b := r.AsAllocated, s.AsAllocated; a != nil {
		same(t, "as allocated", a.LogOdds, b.LogOdds, -1)
		same(t, "as allocated, low", a.Low, b.High, -1)
		same(t, "as allocated, p", a.P, b.P, 1)
		if a.Changed != b.Changed || a.Analysed != b.Analysed {
			t.Fatalf("as allocated: %d of %d and %d of %d", a.Changed, a.Analysed, b.Changed, b.Analysed)
		}
	}
	if (r.OrderEffect == nil) != (s.OrderEffect == nil) || (r.Drift == nil) != (s.Drift == nil) || len(r.Subgroups) != len(s.Subgroups) || len(r.Sensitivity) != len(s.Sensitivity) {
		t.Fatal("one has a part that the other lacks")
	}
	if a, b := r.OrderEffect, s.OrderEffect; a != nil {
		near(t, "order", &a.LogOdds, &b.LogOdds, -1)
		near(t, "order, p", &a.P, &b.P, 1)
	}
	if a, b := r.Drift, s.Drift; a != nil {
		near(t, "per week", a.PerWeek, b.PerWeek, -1)
		near(t, "per week, p", a.P, b.P, 1)
		for i := range a.Weeks {
			near(t, a.Weeks[i].Label, a.Weeks[i].LogOdds, b.Weeks[i].LogOdds, -1)
		}
	}
	for i, g := range r.Subgroups {
		near(t, g.Column+", p", g.P, s.Subgroups[i].P, 1)
		for j, l := range g.Levels {
			near(t, g.Column+" "+l.Level, l.LogOdds, s.Subgroups[i].Levels[j].LogOdds, -1)
		}
	}
	rows := map[string]analysis.SensitivityCase{}
	turned := map[analysis.Case]analysis.Case{analysis.CaseNotSureTest: analysis.CaseNotSureControl, analysis.CaseNotSureControl: analysis.CaseNotSureTest}
	for _, row := range s.Sensitivity {
		rows[string(row.Case)+row.Of] = row
	}
	for _, row := range r.Sensitivity {
		name := row.Case
		if other, ok := turned[name]; ok {
			name = other
		}
		other, ok := rows[string(name)+row.Of]
		if !ok || other.Analysed != row.Analysed {
			t.Fatalf("%s %s: %+v and %+v", row.Case, row.Of, row, other)
		}
		near(t, string(row.Case)+" "+row.Of, row.LogOdds, other.LogOdds, -1)
	}
	if a, b := r.TippingPoint, s.TippingPoint; a != nil && b != nil {
		same(t, "tipping point", a.Delta, b.Delta, -1)
	}
}

// near is same with the tolerance of a fit of several columns to few fish, where the likelihood is flat: 1e-4.
func near(t *rapid.T, name string, a, b *float64, sign float64) {
	if a != nil && b != nil && math.Abs(*a-sign**b) <= 1e-4*math.Max(1, math.Abs(*a)) {
		return
	}
	same(t, name, a, b, sign)
}

// same compares two values, the second times sign, to 1e-6 of the larger of them or of 1.
func same(t *rapid.T, name string, a, b *float64, sign float64) {
	switch {
	case a == nil && b == nil:
	case a == nil || b == nil:
		t.Fatalf("%s: one is null, the other not", name)
	case math.Abs(*a-sign**b) > 1e-6*math.Max(1, math.Abs(*a)):
		t.Fatalf("%s: %.12g and %.12g", name, *a, *b)
	}
}

// Whatever the counts: shares lie in their interval and in 0 to 1, counts add up, and the verdict follows the headline.
func TestResultHoldsTogether(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, rapid.SampledFrom([]int64{1, 3, 40, 100_000}).Draw(t, "most"))
		r, err := analysis.Run(in, analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		encode(t, r)
		c := r.Counts
		excluded := int64(0)
		for _, n := range c.Excluded {
			excluded += n
		}
		cells := c.TestLower.Lower + c.TestLower.Upper + c.ControlLower.Lower + c.ControlLower.Upper
		if c.Catches != c.Analysed+excluded || c.Analysed != c.Test+c.Control || c.Analysed != cells {
			t.Fatalf("counts do not add up: %+v", c)
		}
		h := r.Headline
		if h.Share != nil && !(0 <= *h.ShareLow && *h.ShareLow <= *h.Share && *h.Share <= *h.ShareHigh && *h.ShareHigh <= 1) {
			t.Fatalf("share %g (%g to %g)", *h.Share, *h.ShareLow, *h.ShareHigh)
		}
		if h.AverageShare != nil && !(0 <= *h.AverageLow && *h.AverageLow <= *h.AverageShare && *h.AverageShare <= *h.AverageHigh && *h.AverageHigh <= 1) {
			t.Fatalf("average share %g (%g to %g)", *h.AverageShare, *h.AverageLow, *h.AverageHigh)
		}
		if h.AverageShare != nil && (*h.AverageLow > .5) != (*h.ShareLow > .5) && math.Abs(*h.ShareLow-.5) > 1e-9 {
			t.Fatalf("the average's limit %g and the typical angler's %g lie on either side of one half", *h.AverageLow, *h.ShareLow)
		}
		over := h.ShareLow != nil && *h.ShareLow > .5
		under := h.ShareHigh != nil && *h.ShareHigh < .5
		if over != (r.Verdict.Code == analysis.TestTakesMore) || under != (r.Verdict.Code == analysis.ControlTakesMore) {
			t.Fatalf("verdict %s for %v to %v", r.Verdict.Code, h.ShareLow, h.ShareHigh)
		}
	})
}

// Nothing is null without a warning that says why.
func TestNullsAreExplained(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, rapid.SampledFrom([]int64{1, 3, 12}).Draw(t, "most"))
		if rapid.Bool().Draw(t, "one arrangement") {
			in = swapped(in, func(tally *trial.Tally) { tally.Arrangement = trial.TestLower })
		}
		r, err := analysis.Run(in, analysis.Settings{})
		if err != nil {
			t.Fatal(err)
		}
		oneSided := []string{analysis.WarnNoCatches, analysis.WarnOneArrangement, analysis.WarnOnePosition}
		refused := append([]string{
			analysis.WarnOneAngler, analysis.WarnSeparation, analysis.WarnNoMaximum, analysis.WarnNotConverged, analysis.WarnNotIdentified,
		}, oneSided...)
		null := func(part string, isNull bool, codes ...string) {
			if isNull && !slices.ContainsFunc(r.Warnings, func(w analysis.Warning) bool { return slices.Contains(codes, w.Code) }) {
				t.Fatalf("%s is null and none of the warnings %v is there: %+v", part, codes, r.Warnings)
			}
		}
		null("raw_share", r.RawShare == nil, analysis.WarnNoCatches)
		null("pooled_table", r.PooledTable == nil, oneSided...)
		null("stratified", r.Stratified == nil, append(oneSided, analysis.WarnNoInformation)...)
		null("mixed_model", r.MixedModel == nil, analysis.WarnNoCatches)
		null("combined", r.Combined == nil, analysis.WarnNoCatches, analysis.WarnOneAngler, analysis.WarnNotCombined)
		null("headline.share", r.Headline.Share == nil, append(oneSided, analysis.WarnNoInformation, analysis.WarnNoMethod)...)
		null("headline.low or high", r.Headline.Share != nil && (r.Headline.Low == nil || r.Headline.High == nil || r.Headline.LogOdds == nil), analysis.WarnUnbounded)
		if p := r.PooledTable; p != nil {
			null("pooled_table.log_odds", p.LogOdds == nil || p.Conditional == nil || p.ConditionalHigh == nil, analysis.WarnZeroCell)
		}
		if s := r.Stratified; s != nil {
			null("stratified.odds_ratio", s.OddsRatio == nil || s.ExactOddsRatio == nil || s.ExactHigh == nil, analysis.WarnUnbounded)
			null("stratified.homogeneity_p", s.HomogeneityP == nil, analysis.WarnNoHomogeneity)
		}
		if m := r.MixedModel; m != nil {
			null("mixed_model.log_odds", m.LogOdds == nil, refused...)
			null("mixed_model.sd_outing", m.LogOdds != nil && m.SDOuting == nil, analysis.WarnOutingsLeftOut)
		}
		refusedPart := append([]string{analysis.WarnPartRefused, analysis.WarnOneAngler}, oneSided...)
		null("randomisation", r.Randomisation == nil, analysis.WarnNoDraw, analysis.WarnNoContrast)
		null("order_effect", r.OrderEffect == nil, append(refusedPart, analysis.WarnNoHalves)...)
		null("as_allocated", r.AsAllocated == nil, analysis.WarnNoDraw)
		null("sensitivity", r.Sensitivity == nil, analysis.WarnNoCatches)
		null("drift", r.Drift == nil, analysis.WarnNoWeeks, analysis.WarnNoCatches)
		null("subgroups", len(r.Subgroups) == 0, analysis.WarnNoColumns, analysis.WarnNoCatches)
		if r.Drift != nil {
			null("drift.per_week", r.Drift.PerWeek == nil, refusedPart...)
		}
		for _, row := range r.Sensitivity {
			if (row.LogOdds == nil || row.Low == nil || row.High == nil) && row.Reason == "" {
				t.Fatalf("%s %s is null without a reason", row.Case, row.Of)
			}
		}
		for _, g := range r.Subgroups {
			if (g.P == nil) != (g.Reason != "") {
				t.Fatalf("%s: p %v, reason %q", g.Column, g.P, g.Reason)
			}
		}
		for _, a := range r.Anglers {
			null("log_odds of "+a.Angler, a.LogOdds == nil && a.TestLower != a.ControlLower, analysis.WarnLeftOut)
		}
	})
}

// The input counts are canonical JSON by another implementation of RFC 8785, whatever text the labels hold.
func TestCanonicalInputCounts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := analysis.Input{Test: rapid.String().Draw(t, "test") + "A", Control: "B"}
		for range rapid.IntRange(0, 5).Draw(t, "tallies") {
			in.Tallies = append(in.Tallies, trial.Tally{
				Angler: rapid.String().Draw(t, "angler"), Outing: rapid.String().Draw(t, "outing"), Species: rapid.String().Draw(t, "species"),
				Arrangement: trial.TestLower, Taken: trial.TookTest, Origin: trial.Wild, N: rapid.Int64Range(0, 1e9).Draw(t, "n"),
			})
		}
		canonical, err := analysis.Canonical(in)
		if err != nil {
			t.Fatal(err)
		}
		again, err := jcs.Transform(canonical)
		if err != nil || !bytes.Equal(again, canonical) {
			t.Fatalf("not canonical (%v):\n%s\n%s", err, canonical, again)
		}
		if !json.Valid(canonical) {
			t.Fatalf("not JSON: %s", canonical)
		}
	})
	if _, err := analysis.Canonical(analysis.Input{Test: "A", Control: "B", Tallies: []trial.Tally{{Angler: "\xff", N: 1}}}); trial.KindOf(err) != trial.Invalid {
		t.Errorf("text that is not UTF-8: %v", err)
	}
}
