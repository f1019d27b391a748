package analysis

import (
	"errors"
	"fmt"
	"math"

	"evenrig/service/trial"
	"evenrig/stats/num"
	"evenrig/stats/sequential"
)

// What looks and evidence may have to warn of.
const (
	WarnNoEvidence    = "no_evidence"     // no finished block has fish in both halves
	WarnOrderInBlocks = "order_in_blocks" // an effect of order within blocks: some evidence does not hold
)

// monitoring judges the looks and weighs the evidence. Nil where there is neither a plan nor a block to go by.
func monitoring(in Input, r Result, n *notes) (*Monitoring, error) {
	m := &Monitoring{Rule: trial.FixedSize, Looks: []MonitoredLook{}}
	if in.Plan != nil {
		m.Rule, m.Look = in.Plan.Rule, in.Plan.Look
	}
	evidence, limits, err := weigh(in)
	if err != nil {
		return nil, err
	}
	if evidence == nil {
		n.add(WarnNoEvidence, "no finished round has analysed fish in both of its halves: there is no evidence that may be looked at at any time")
		if in.Plan == nil {
			return nil, nil
		}
	} else {
		m.Evidence, m.EValue = evidence, evidence.Draw
		m.SequenceLow, m.SequenceHigh = limits.Theta()
		low, high := limits.Share()
		m.SequenceShareLow, m.SequenceShareHigh = known(low), known(high)
		if evidence.OrderP != nil && *evidence.OrderP < .05 {
			n.add(WarnOrderInBlocks, "fish took the lower fly more or less often in the second half of a round (p %s): the sequence and the evidence that assume no order do not hold; the one by the draw does", belowOr(*evidence.OrderP))
		}
	}
	switch m.Rule {
	case trial.GroupSequential:
		return m, m.judge(in, r)
	case trial.Anytime:
		m.Decision = trial.GoOn
		if m.EValue != nil && *m.EValue >= 1/in.Alpha {
			m.Decision = trial.Stop
		}
	}
	return m, nil
}

var spendings = map[string]sequential.Spending{trial.SpendOBrienFleming: sequential.OBrienFleming, trial.SpendPocock: sequential.Pocock}

var decisions = map[sequential.Decision]trial.Decision{
	sequential.GoOn: trial.GoOn, sequential.Stop: trial.Stop, sequential.Ended: trial.Ended, sequential.NoDecision: trial.NoDecision,
}

// judge takes the looks before and this one against the protocol's plan. The closing count is the last look, unless an
// earlier one ended the trial.
func (m *Monitoring) judge(in Input, r Result) error {
	looks := in.Plan.Looks
	plan, err := sequential.PlanFor(looks.Planned, spendings[looks.Spending], in.Alpha, in.Plan.Power, num.Logit(in.SmallestShare))
	if err != nil {
		return fmt.Errorf("plan the looks: %w", err)
	}
	monitor, err := sequential.NewMonitor(plan)
	if err != nil {
		return fmt.Errorf("plan the looks: %w", err)
	}
	m.Planned, m.PlannedInformation, m.Decision = looks.Planned, known(plan.Information), trial.NoDecision
	now := MonitoredLook{N: m.Look, Fish: finishedFish(in)}
	if in.Plan.Closing {
		now.N, now.Fish = looks.Planned, r.Counts.Analysed
	}
	if estimate, stdError, p := lookResult(r, looks.Method); estimate != nil {
		now.LogOdds, now.P, now.Information = estimate, p, known(1/(*stdError**stdError))
	}
	ended := false
	for _, e := range in.Plan.Earlier {
		made := MonitoredLook{N: e.N, Week: e.Week, Fish: e.Fish, LogOdds: e.LogOdds, P: e.P, Information: e.Information}
		if e.Withdrawn {
			if err := m.addWithdrawn(monitor, made, e.Decision, now, in.Effort.ErasedFish); err != nil {
				return err
			}
			continue
		}
		if ended, err = m.add(monitor, made, false, looks.Futility); err != nil {
			return err
		}
	}
	if !ended && (m.Look > 0 || in.Plan.Closing) {
		if ended, err = m.add(monitor, now, in.Plan.Closing, looks.Futility); err != nil {
			return err
		}
	}
	if last := len(m.Looks) - 1; last >= 0 {
		made := m.Looks[last]
		m.Decision, m.Information, m.Boundary, m.Spent = made.Decision, made.Information, made.BoundaryP, made.Spent
	}
	if ended {
		return m.adjust(monitor)
	}
	return nil
}

// add judges one look; one without an answer of its method decides and spends nothing. It reports whether the trial has ended.
func (m *Monitoring) add(monitor *sequential.Monitor, made MonitoredLook, closing, futility bool) (ended bool, err error) {
	made.Decision = trial.NoDecision
	if made.Information == nil || made.LogOdds == nil || made.P == nil {
		m.Looks = append(m.Looks, made)
		return false, nil
	}
	judged, err := monitor.Look(sequential.Result{Estimate: *made.LogOdds, StdErr: 1 / math.Sqrt(*made.Information), P: *made.P}, closing)
	if err != nil {
		return false, fmt.Errorf("judge look %d: %w", made.N, err)
	}
	made.Fraction, made.Spent, made.BoundaryP, made.BoundaryZ = known(judged.Fraction), known(judged.Spent), known(judged.NominalP), known(judged.Z)
	made.Decision = decisions[judged.Decision]
	if futility && judged.FutileAbove > 0 {
		made.FutileAbove = known(judged.FutileAbove)
		if made.Decision == trial.GoOn && *made.P > judged.FutileAbove {
			made.Decision = trial.StopFutile
		}
	}
	m.Looks = append(m.Looks, made)
	return judged.Decision == sequential.Stop || judged.Decision == sequential.Ended, nil
}

// addWithdrawn places a look whose numbers were erased with an angler's records. Its decision stands. Where it let the trial
// go on, alpha was spent there: its information is taken to be to this count's as its fish are to this count's and the erased
// ones together, which tells nothing but numbers of fish that are known anyway. Where it ended the trial, this count stands in
// its place.
func (m *Monitoring) addWithdrawn(monitor *sequential.Monitor, made MonitoredLook, decision trial.Decision, now MonitoredLook, erased int64) error {
	made.Decision = decision
	wentOn := decision == trial.GoOn || decision == trial.StopFutile
	if wentOn && now.Information != nil && made.Fish > 0 && now.Fish+erased > made.Fish {
		information := *now.Information * float64(made.Fish) / float64(now.Fish+erased)
		if information < *m.PlannedInformation { // one at or over the plan would have been the last
			judged, err := monitor.Look(sequential.Result{StdErr: 1 / math.Sqrt(information), P: 1}, false)
			if err != nil {
				return fmt.Errorf("place look %d: %w", made.N, err)
			}
			made.Fraction, made.Spent, made.BoundaryP, made.BoundaryZ = known(judged.Fraction), known(judged.Spent), known(judged.NominalP), known(judged.Z)
		}
	}
	m.Looks = append(m.Looks, made)
	return nil
}

// adjust allows for the looks that were made; nothing where the last one's information had not grown.
func (m *Monitoring) adjust(monitor *sequential.Monitor) error {
	a, err := monitor.Adjusted()
	if errors.Is(err, sequential.ErrNoAdjustment) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("allow for the looks: %w", err)
	}
	m.Adjusted = &AdjustedResult{
		LogOdds: a.Estimate, Low: a.Low, High: a.High, P: a.P, Share: num.Expit(a.Estimate), ShareLow: num.Expit(a.Low), ShareHigh: num.Expit(a.High),
	}
	return nil
}

// lookResult is what the looks' one method gives here; nil where it gives nothing.
func lookResult(r Result, method string) (estimate, stdError, p *float64) {
	switch {
	case method == trial.LookCombined && !r.TooManyHalves():
		if e := r.Combined.HeadlineRow(); e != nil {
			return e.LogOdds, e.StdError, e.P
		}
	case method == trial.LookMixedModel && r.MixedModel != nil:
		return r.MixedModel.LogOdds, r.MixedModel.StdError, r.MixedModel.P
	}
	return nil, nil, nil
}

// finishedFish counts the analysed fish of finished blocks.
func finishedFish(in Input) (fish int64) {
	for _, t := range in.Tallies {
		if t.Finished && t.Exclusion == trial.Analysed {
			fish += t.N
		}
	}
	return fish
}

// underLooks returns the headline as the stopping rule lets it speak: with the looks allowed for once they have ended, with
// repeated limits (Jennison and Turnbull 1989, Journal of the Royal Statistical Society B 51:305) until then, and under
// anytime with the sequence's limits and the evidence's p, which hold whenever they are read.
func (m *Monitoring) underLooks(h Headline) Headline {
	if m == nil || h.LogOdds == nil {
		return h
	}
	switch {
	case m.Adjusted != nil:
		a := m.Adjusted
		h.LogOdds, h.Low, h.High, h.P, h.DF = known(a.LogOdds), known(a.Low), known(a.High), known(a.P), nil
		h.Share, h.ShareLow, h.ShareHigh = known(a.Share), known(a.ShareLow), known(a.ShareHigh)
		h.Reason += " Its numbers allow for the looks that were made."
	case m.Rule == trial.GroupSequential && m.Boundary != nil && len(m.Looks) > 0:
		made := m.Looks[len(m.Looks)-1]
		if *made.BoundaryZ == 0 {
			return h.withLimits(nil, nil, nil)
		}
		wide := *made.BoundaryZ / math.Sqrt(*made.Information)
		h = h.withLimits(known(*made.LogOdds-wide), known(*made.LogOdds+wide), made.P)
		h.Reason += " Its limits are those that hold at every look."
	case m.Rule == trial.Anytime:
		var p *float64
		if m.EValue != nil {
			p = known(math.Min(1, 1 / *m.EValue))
		}
		h = h.withLimits(m.SequenceLow, m.SequenceHigh, p)
		h.Reason += " Its limits and p are those that hold whenever they are read."
	default:
		return h
	}
	h.AverageShare, h.AverageLow, h.AverageHigh = nil, nil, nil
	return h
}

// withLimits replaces limits and p; a limit that is nil has a share of 0 or 1.
func (h Headline) withLimits(low, high, p *float64) Headline {
	h.Low, h.High, h.P, h.DF = low, high, p, nil
	h.ShareLow, h.ShareHigh = known(0), known(1)
	if low != nil {
		h.ShareLow = share(low)
	}
	if high != nil {
		h.ShareHigh = share(high)
	}
	return h
}
