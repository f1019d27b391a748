package sequential_test

import (
	"errors"
	"math"
	"testing"

	"evenrig/stats/num"
	"evenrig/stats/sequential"
	"evenrig/stats/stattest"
)

// at returns a result with the information of the fraction of plan and the given p.
func at(plan sequential.Plan, fraction, p float64) sequential.Result {
	stdErr := 1 / math.Sqrt(fraction*plan.Information)
	return sequential.Result{Estimate: -num.NormalQuantile(p/2) * stdErr, StdErr: stdErr, P: p}
}

var fourLooks = sequential.Plan{Looks: 4, Spending: sequential.OBrienFleming, Alpha: 0.05, Power: 0.8, Information: 49}

func look(t testing.TB, m *sequential.Monitor, r sequential.Result, closing bool) sequential.Look {
	t.Helper()
	l, err := m.Look(r, closing)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// Unequal looks, one by one, give the boundaries that the reference finds for them together.
func TestMonitorFindsTheBoundariesOneByOne(t *testing.T) {
	t.Parallel()
	shapes := map[string]sequential.Spending{"asOF": sequential.OBrienFleming, "asP": sequential.Pocock}
	for _, d := range loadReference(t).Designs {
		spending, ok := shapes[d.Type]
		if !ok {
			continue
		}
		plan := sequential.Plan{Looks: len(d.Z), Spending: spending, Alpha: d.Alpha, Power: 0.8, Information: 30}
		m := monitor(t, plan)
		for k, fraction := range d.Information {
			l := look(t, m, at(plan, fraction, 0.5), false)
			stattest.Absolute(t, "z", l.Z, d.Z[k], 1e-8)
			stattest.Absolute(t, "spent", l.Spent, d.Spent[k], 1e-9)
			stattest.Relative(t, "fraction", l.Fraction, fraction, 1e-12)
			want := sequential.GoOn
			if k == len(d.Z)-1 {
				want = sequential.Ended
			}
			if l.Decision != want || l.Last != (want == sequential.Ended) || l.Crossed {
				t.Errorf("%s %s look %d: %v, last %t, crossed %t", d.Type, d.Schedule, k+1, l.Decision, l.Last, l.Crossed)
			}
		}
		if _, err := m.Look(at(plan, 1.2, 0.5), false); !errors.Is(err, sequential.ErrTooManyLooks) {
			t.Errorf("one look more than planned: %v", err)
		}
	}
}

func TestLookStopsAtItsNominalP(t *testing.T) {
	t.Parallel()
	bounds, err := fourLooks.Boundaries()
	if err != nil {
		t.Fatal(err)
	}
	m := monitor(t, fourLooks)
	if l := look(t, m, at(fourLooks, 0.25, bounds[0].NominalP*1.001), false); l.Crossed || l.Decision != sequential.GoOn {
		t.Errorf("just short of the boundary: %+v", l)
	}
	if l := look(t, m, at(fourLooks, 0.5, bounds[1].NominalP*0.999), false); !l.Crossed || l.Decision != sequential.Stop || l.Last {
		t.Errorf("just over the boundary: %+v", l)
	}
	if _, err := m.Look(at(fourLooks, 0.75, 0.5), false); !errors.Is(err, sequential.ErrFinished) {
		t.Errorf("a look after stopping: %v", err)
	}
	a, err := m.Adjusted()
	if err != nil || a.P > 0.05 || a.Low <= 0 {
		t.Errorf("adjusted %+v, %v", a, err)
	}
}

func TestInformationThatDoesNotGrowBuysNothing(t *testing.T) {
	t.Parallel()
	m := monitor(t, fourLooks)
	first := look(t, m, at(fourLooks, 0.5, 0.3), false)
	for _, fraction := range []float64{0.4, 0.5 + sequential.SmallestStep/2} {
		l := look(t, m, at(fourLooks, fraction, 1e-12), false)
		if l.Decision != sequential.NoDecision || l.Crossed || l.NominalP != 0 || l.Spent != first.Spent || l.FutileAbove != 0 {
			t.Errorf("at %g after 0.5: %+v", fraction, l)
		}
	}
	// The last look spends what is left, as if the two had not been.
	last := look(t, m, at(fourLooks, 1, 0.5), false)
	want, err := sequential.Boundaries(sequential.OBrienFleming, []float64{0.5, 1}, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	stattest.Absolute(t, "last z", last.Z, want[1].Z, 1e-10)
	if last.Decision != sequential.Ended || last.Spent != 0.05 {
		t.Errorf("last look %+v", last)
	}
}

func TestUnderRunningAndOverRunningSpendWhatIsLeft(t *testing.T) {
	t.Parallel()
	for _, last := range []float64{0.7, 1, 1.6} {
		m := monitor(t, fourLooks)
		first := look(t, m, at(fourLooks, 0.5, 0.3), false)
		l := look(t, m, at(fourLooks, last, 0.3), true)
		if l.Decision != sequential.Ended || l.Spent != 0.05 {
			t.Errorf("closing at %g: %+v", last, l)
		}
		exits, err := sequential.Crossing([]float64{0.5, last}, []float64{first.Z, l.Z}, 0)
		if err != nil {
			t.Fatal(err)
		}
		stattest.Absolute(t, "level", exits.Total(), 0.05, 1e-10)
	}
	// Over-running before the planned last look makes it the last.
	m := monitor(t, fourLooks)
	if l := look(t, m, at(fourLooks, 1.01, 0.3), false); !l.Last || l.Decision != sequential.Ended {
		t.Errorf("first look with all the information: %+v", l)
	}
	if _, err := m.Look(at(fourLooks, 1.2, 0.3), false); !errors.Is(err, sequential.ErrFinished) {
		t.Errorf("a look after all is spent: %v", err)
	}
}

// A closing look without new information is held to a nominal p of all that is left.
func TestClosingWithoutNewInformation(t *testing.T) {
	t.Parallel()
	m := monitor(t, fourLooks)
	first := look(t, m, at(fourLooks, 0.5, 0.3), false)
	if _, err := m.Adjusted(); !errors.Is(err, sequential.ErrNotFinished) {
		t.Errorf("adjusted before the end: %v", err)
	}
	l := look(t, m, at(fourLooks, 0.49, 0.04), true)
	stattest.Absolute(t, "nominal p", l.NominalP, 0.05-first.Spent, 1e-15)
	if l.Decision != sequential.Stop || l.Spent != 0.05 {
		t.Errorf("%+v", l)
	}
	if _, err := m.Adjusted(); !errors.Is(err, sequential.ErrNoAdjustment) {
		t.Errorf("adjusted: %v", err)
	}
}

// A look so early that the function gives nothing is no decision, and its share is not lost.
func TestLookThatHasNothingToSpend(t *testing.T) {
	t.Parallel()
	m := monitor(t, fourLooks)
	if l := look(t, m, at(fourLooks, 0.02, 1e-10), false); l.Decision != sequential.NoDecision || l.Spent != 0 {
		t.Errorf("%+v", l)
	}
	l := look(t, m, at(fourLooks, 0.5, 0.5), false)
	stattest.Absolute(t, "spent", l.Spent, sequential.OBrienFleming.Spent(0.5, 0.05), 1e-15)
}

func TestWhatALookRefuses(t *testing.T) {
	t.Parallel()
	good := at(fourLooks, 0.5, 0.3)
	for name, change := range map[string]func(*sequential.Result){
		"no estimate": func(r *sequential.Result) { r.Estimate = math.NaN() },
		"unbounded":   func(r *sequential.Result) { r.Estimate = math.Inf(1) },
		"no error":    func(r *sequential.Result) { r.StdErr = 0 },
		"endless":     func(r *sequential.Result) { r.StdErr = math.Inf(1) },
		"p above 1":   func(r *sequential.Result) { r.P = 1.01 },
		"no p":        func(r *sequential.Result) { r.P = math.NaN() },
	} {
		m, r := monitor(t, fourLooks), good
		change(&r)
		if _, err := m.Look(r, false); !errors.Is(err, sequential.ErrResult) {
			t.Errorf("%s: %v", name, err)
		}
		if len(m.Looks()) != 0 {
			t.Errorf("%s: the refused look was counted", name)
		}
	}
	for name, change := range map[string]func(*sequential.Plan){
		"no looks": func(p *sequential.Plan) { p.Looks = 0 },
		"shape":    func(p *sequential.Plan) { p.Spending = 7 },
		"alpha":    func(p *sequential.Plan) { p.Alpha = 1 },
		"power":    func(p *sequential.Plan) { p.Power = 0.01 },
		"none":     func(p *sequential.Plan) { p.Information = 0 },
		"endless":  func(p *sequential.Plan) { p.Information = math.Inf(1) },
	} {
		p := fourLooks
		change(&p)
		if _, err := sequential.NewMonitor(p); !errors.Is(err, sequential.ErrPlan) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
