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
			in.Tallies = append(in.Tallies, r.tallies()...)
			in.Tallies = append(in.Tallies, trial.Tally{
				Angler: r.angler, Outing: r.outing, Taken: trial.TookUnknown, Exclusion: trial.NotSure, N: rapid.Int64Range(0, 2).Draw(t, "unsure"),
			})
		}
	}
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
		patterns, err := analysis.Run(swapped(in, func(tally *trial.Tally) {
			tally.Arrangement = tally.Arrangement.Other()
			tally.Taken = map[trial.Taken]trial.Taken{trial.TookTest: trial.TookControl, trial.TookControl: trial.TookTest}[tally.Taken]
		}), analysis.Settings{})
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
		if m := r.MixedModel; m != nil {
			same(t, "β, patterns swapped", m.PositionLogOdds, patterns.MixedModel.PositionLogOdds, 1)
			same(t, "β, positions swapped", m.PositionLogOdds, positions.MixedModel.PositionLogOdds, -1)
			same(t, "log likelihood, patterns swapped", m.LogLikelihood, patterns.MixedModel.LogLikelihood, 1)
			same(t, "log likelihood, positions swapped", m.LogLikelihood, positions.MixedModel.LogLikelihood, 1)
		}
	})
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
		for _, a := range r.Anglers {
			null("log_odds of "+a.Angler, a.LogOdds == nil && a.TestLower != a.ControlLower, analysis.WarnLeftOut)
		}
	})
}

// The input counts are canonical JSON by another implementation of RFC 8785, whatever text the labels hold.
func TestCanonicalInputCounts(t *testing.T) {
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
