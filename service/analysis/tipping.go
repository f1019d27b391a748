package analysis

import (
	"math"

	"evenrig/service/trial"
	"evenrig/stats/num"
)

// deltaMost bounds the shift of the not-sure fish; deltaStep is that between the points shown.
const (
	deltaMost = 2.0
	deltaStep = .5
)

// mixture is what the sure fish and the not-sure ones together would say: unsure is the share of not-sure fish by
// arrangement (test lower, control lower) and beta the position effect.
type mixture struct {
	unsure [2]float64
	beta   float64
}

// tippingPoint asks from which shift on the not-sure fish would change the verdict; nil where there are none, or nothing speaks.
//
// A pattern mixture (Rubin 1977, Journal of the American Statistical Association 72:538; Little 1993, the same 88:125): a sure fish
// takes the test pattern with P_c = expit(θ + βc), one that is not sure with expit(θ + βc + delta), and the two are mixed in the
// shares in which they were caught. θ of the mixture is the mean of its two logits; limits are those of the headline carried through
// with β and the shares held, so that delta = 0 gives the headline back.
func tippingPoint(r Result, in Input) *TippingPoint {
	h := r.Headline
	var unsure, sure [2]float64
	t := &TippingPoint{Points: []TippingShift{}}
	for _, tally := range in.Tallies {
		i := 0
		if tally.Arrangement == trial.ControlLower {
			i = 1
		}
		switch {
		case tally.Exclusion == trial.Analysed:
			sure[i] += float64(tally.N)
		case tally.Exclusion == trial.NotSure && tally.Arrangement != "":
			unsure[i] += float64(tally.N)
			t.NotSure += tally.N
		}
	}
	if t.NotSure == 0 || h.Share == nil {
		return nil
	}
	m := mixture{beta: positionOf(r)}
	for i := range m.unsure {
		if unsure[i] > 0 {
			m.unsure[i] = unsure[i] / (unsure[i] + sure[i])
		}
	}
	main := verdictOf(h.ShareLow, h.ShareHigh, in.SmallestShare)
	at := func(delta float64) TippingShift { return m.shift(h, delta, unsure, in.SmallestShare) }
	for delta := -deltaMost; delta <= deltaMost; delta += deltaStep {
		t.Points = append(t.Points, at(delta))
	}
	for _, toward := range []float64{-1, 1} {
		delta, ok := firstChange(main, func(size float64) VerdictCode { return at(toward * size).Verdict })
		if ok && (t.Delta == nil || delta < math.Abs(*t.Delta)) {
			t.Delta, t.Verdict = known(toward*delta), at(toward*delta).Verdict
		}
	}
	return t
}

// firstChange finds the smallest size, up to deltaMost, from which another verdict stands, to a hundredth: a shift of that
// size or a little less changes it.
func firstChange(main VerdictCode, verdict func(size float64) VerdictCode) (float64, bool) {
	const step = .01
	for i := 1; i <= int(deltaMost/step); i++ {
		if verdict(float64(i)*step) != main {
			return float64(i) * step, true
		}
	}
	return 0, false
}

// shift is θ of all fish under one shift.
func (m mixture) shift(h Headline, delta float64, unsure [2]float64, smallest float64) TippingShift {
	low, high := m.mixed(h.Low, h.ShareLow, delta), m.mixed(h.High, h.ShareHigh, delta)
	s := TippingShift{Delta: delta, LogOdds: finite(m.mixed(h.LogOdds, h.Share, delta)), Low: finite(low), High: finite(high)}
	s.Verdict = verdictOf(known(num.Expit(low)), known(num.Expit(high)), smallest)
	theta := logOddsOf(h.LogOdds, h.Share)
	s.Test = (unsure[0]*num.Expit(theta+m.beta+delta) + unsure[1]*num.Expit(theta-m.beta+delta)) / (unsure[0] + unsure[1])
	return s
}

// mixed carries θ, where null its share of 0 or 1, into the mixture.
func (m mixture) mixed(logOdds, share *float64, delta float64) float64 {
	theta := logOddsOf(logOdds, share)
	sum := 0.0
	for i, c := range []float64{1, -1} {
		eta := theta + m.beta*c
		// The log odds of a mixture: weigh both the chance and its complement, so that neither loses its digits.
		f := m.unsure[i]
		yes := (1-f)*num.Expit(eta) + f*num.Expit(eta+delta)
		no := (1-f)*num.Expit(-eta) + f*num.Expit(-eta-delta)
		sum += math.Log(yes) - math.Log(no)
	}
	return sum / 2
}

// logOddsOf is the log odds, infinite where it is null and its share stands at the end.
func logOddsOf(logOdds, share *float64) float64 {
	switch {
	case logOdds != nil:
		return *logOdds
	case *share > .5:
		return math.Inf(1)
	}
	return math.Inf(-1)
}

func finite(x float64) *float64 { return known2(x, true) }

// positionOf is the position effect β of the mixed model, else of the pooled table, else 0.
func positionOf(r Result) float64 {
	switch {
	case r.MixedModel != nil && r.MixedModel.PositionLogOdds != nil && r.Headline.Method == MixedModelProfile:
		return *r.MixedModel.PositionLogOdds
	case r.PooledTable != nil && r.PooledTable.PositionLogOdds != nil:
		return *r.PooledTable.PositionLogOdds
	}
	return 0
}
