package analysis

import (
	"strings"
	"testing"

	"evenrig/service/trial"
	"evenrig/stats/exact"
)

// refused is a result of k anglers whose mixed model was refused; the first halved of them needed the ½.
func refused(k, halved int, status FitStatus) Result {
	r := Result{MixedModel: &MixedModel{Status: status}, Combined: &Combined{QDF: k - 1, Estimates: ways()}}
	for i := range r.Combined.Estimates {
		e := &r.Combined.Estimates[i]
		e.LogOdds, e.Low, e.High, e.P, e.Tau2 = known(.5), known(.1), known(.9), known(.02), known(.3)
		if e.Estimator == REML && e.Adjustment == ModifiedHK {
			r.Combined.Headline = i
		}
	}
	for i := range k {
		r.Anglers = append(r.Anglers, Angler{LogOdds: known(.5), HalfAdded: i < halved})
	}
	return r
}

// Where the mixed model is refused the exact method speaks, with the limit that says what it tests, if a pattern was always taken or
// the anglers are not told apart; a spread that ran away in anglers who differ says what the exact method denies, and none speaks.
// The combination, however many anglers needed the ½, never does.
func TestHeadlineWhenTheMixedModelIsRefused(t *testing.T) {
	t.Parallel()
	conditional, err := exact.ConditionalTest([]exact.Table{{A: 9, B: 2, C: 7, D: 5}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		k, halved int
		status    FitStatus
		apart     *float64 // p of the test of homogeneity
		want      Method
		answers   bool
	}{
		{10, 1, NoMaximum, known(.3), ExactStratified, true},
		{10, 1, NoMaximum, known(.01), MixedModelProfile, false},
		{10, 2, NoMaximum, nil, MixedModelProfile, false},
		{10, 2, Separated, nil, ExactStratified, true},
		{10, 2, NotConverged, nil, MixedModelProfile, false},
		{10, 2, NotConverged, known(.5), ExactStratified, true},
		{9, 1, Separated, known(.01), ExactStratified, true},
		{9, 0, Separated, nil, ExactStratified, true},
		{20, 0, NoMaximum, known(.02), MixedModelProfile, false},
	} {
		r, n := refused(c.k, c.halved, c.status), &notes{}
		if c.apart != nil {
			r.Stratified = &Stratified{HomogeneityP: c.apart}
		}
		r.Headline = headline(r, &conditional, c.k, "anglers", n)
		if r.Headline.Method != c.want || (r.Headline.Share != nil) != c.answers || n.has(WarnNoMethod) == c.answers {
			t.Errorf("%d of %d anglers needed the half, %s: %s, want %s", c.halved, c.k, c.status, r.Headline.Method, c.want)
		}
		v := verdict(r, Input{}.filled(), c.k)
		said := strings.Contains(strings.Join(v.Limits, " "), "no effect for any angler")
		if said != (c.want == ExactStratified) {
			t.Errorf("%s: the limit on what the exact method tests is said: %v", c.want, said)
		}
		if !c.answers && v.Code != NotSettled {
			t.Errorf("no method speaks and the verdict is %s", v.Code)
		}
	}
	alone := refused(6, 0, Separated)
	alone.Combined = nil
	if h := headline(alone, &conditional, 6, "anglers", &notes{}); h.Method != ExactStratified || h.Share == nil {
		t.Errorf("without a combination: %s", h.Method)
	}
	if h := headline(alone, nil, 6, "anglers", &notes{}); h.Share != nil {
		t.Errorf("without anything: %+v", h)
	}
}

// The verdict reads the interval of the headline's share against one half and the band of the smallest share worth
// knowing, .60 here (Altman & Bland 1995, BMJ 311:485: absence of evidence is not evidence of absence).
func TestVerdict(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share, low, high float64
		want             VerdictCode
		says             []string
		never            []string
	}{
		{.69, .59, .77, TestTakesMore, []string{"about 69 (95 % interval 59 to 77)", "would take red, the test pattern", "favour red"}, []string{"anything from"}},
		{.31, .23, .41, ControlTakesMore, []string{"about 31 (95 % interval 23 to 41)", "favour plain, the control pattern"}, nil},
		{.55, .44, .66, NotSettled, []string{"anything from 44 to 66; not enough to tell"}, []string{"no difference", "favour"}},
		{.50, .42, .58, Even, []string{"40 to 60", "even"}, []string{"not enough"}},
		{.50, .40, .60, Even, []string{"40 to 60"}, nil},
		{.50, .39, .58, NotSettled, nil, nil},
		{.50, .42, .61, NotSettled, nil, nil},
		{.54, .52, .57, TestTakesMore, []string{"short of the share that was worth knowing"}, nil},
		{.54, .5, .63, NotSettled, []string{"anything from 50 to 63"}, nil},
		{.54, .501, .63, TestTakesMore, []string{"50.1 to 63"}, nil},
		{1, .7, 1, TestTakesMore, []string{"about 100 (95 % interval 70 to 100)"}, nil},
		{.997, .7, .999, TestTakesMore, []string{"the time, over 99 (95 % interval 70 to over 99)"}, nil},
	} {
		in := Input{Test: "red", Control: "plain"}.filled()
		r := Result{Headline: Headline{
			Method: MixedModelProfile, Share: known(c.share), ShareLow: known(c.low), ShareHigh: known(c.high),
			AverageShare: known(c.share), AverageLow: known(c.low), AverageHigh: known(c.high),
		}, Counts: Counts{Analysed: 1}}
		v := verdict(r, in, 9)
		if v.Code != c.want {
			t.Errorf("%g (%g to %g): %s, want %s", c.share, c.low, c.high, v.Code, c.want)
		}
		for _, text := range append(c.says, "caught by anglers like ours, each pattern as the point fly half the time") {
			if !strings.Contains(v.Sentence, text) {
				t.Errorf("%g (%g to %g): %q does not say %q", c.share, c.low, c.high, v.Sentence, text)
			}
		}
		for _, text := range append(c.never, "proves", "significant", "no difference") {
			if strings.Contains(v.Sentence, text) {
				t.Errorf("%g (%g to %g): %q says %q", c.share, c.low, c.high, v.Sentence, text)
			}
		}
	}
}

// Without an average the sentence speaks of a typical angler, or of the one there is, and the source decides what must be
// said of the draw.
func TestSentenceAndLimitsByKind(t *testing.T) {
	t.Parallel()
	h := Headline{Method: ExactStratified, Share: known(.7), ShareLow: known(.6), ShareHigh: known(.8)}
	r := Result{Headline: h, Counts: Counts{Analysed: 1}}
	for _, c := range []struct {
		k      int
		source trial.Source
		says   []string
	}{
		{1, trial.Recorded, []string{"caught by this angler, with the position effect taken out", "One angler's answer", "No draw here"}},
		{3, trial.Drawn, []string{"a typical angler of this trial, with the position effect taken out", "no effect for any angler", "word of mouth"}},
	} {
		v := verdict(r, Input{Test: "A", Control: "B", Source: c.source}.filled(), c.k)
		all := v.Sentence + " " + strings.Join(v.Limits, " ")
		for _, text := range append(c.says, "choice when both flies are in the water", "did not measure how many more fish", "Not shown: other waters") {
			if !strings.Contains(all, text) {
				t.Errorf("%d anglers, %s: %q does not say %q", c.k, c.source, all, text)
			}
		}
	}
	if s := listed([]string{"a", "b", "c"}); s != "a, b and c" {
		t.Errorf("listed: %q", s)
	}
	if s := listed(strings.Fields("1 2 3 4 5 6 7 8 9 10 11 12")); s != "1, 2, 3, 4, 5, 6, 7, 8, 9, 10 and 2 more" {
		t.Errorf("listed: %q", s)
	}
}
