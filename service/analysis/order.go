package analysis

import (
	"evenrig/service/trial"
)

// orderEffect compares the second period of the blocks with the first, on the logit of test taken; nil where it is not known
// which period is which, or one has no fish.
//
// The arrangement before a second period is always the other one, so that an effect of what was fished before cannot be told
// from another position effect in second periods: that change is CarryOver. It leaves θ alone where each order is drawn as often
// as the other (Jones and Kenward 2014, Design and Analysis of Cross-Over Trials, on periods and carry-over).
func orderEffect(all covariates, n *notes) (*OrderEffect, error) {
	m := all.only(func(t *trial.Tally) bool { return t.Half == 1 || t.Half == 2 })
	var fish [3]int64
	for _, t := range m.tallies {
		fish[t.Half] += t.N
	}
	if fish[1] == 0 || fish[2] == 0 {
		if m.fish() < all.fish() || all.fish() == 0 {
			n.add(WarnNoHalves, "which half of its round a fish is from is not known: whether second halves differ from first ones is not looked at")
		} else {
			n.add(WarnNoHalves, "all analysed fish are from halves of one kind, first or second: whether these differ is not looked at")
		}
		return nil, nil
	}
	half := func(t *trial.Tally) float64 { return float64(t.Half) - 1.5 }
	plain := func(t *trial.Tally) []float64 { return []float64{1, sign(t), half(t)} }
	fit, reason, err := m.fit(plain)
	switch {
	case err != nil:
		return nil, err
	case fit == nil:
		n.add(WarnPartRefused, "whether second halves differ from first ones is not given: %s", reason)
		return nil, nil
	}
	o := OrderEffect{Analysed: m.fish()}
	if o.Coefficient, err = m.coefficient(fit, 2); err != nil {
		return nil, err
	}
	fit, reason, err = m.fit(func(t *trial.Tally) []float64 { return append(plain(t), sign(t)*half(t)) })
	switch {
	case err != nil:
		return nil, err
	case fit == nil:
		n.add(WarnPartRefused, "whether the position effect changes from first to second halves is not given: %s", reason)
		return &o, nil
	}
	carried, err := m.coefficient(fit, 3)
	o.CarryOver = &carried
	return &o, err
}
