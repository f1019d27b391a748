package analysis

import (
	"fmt"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// fewAnglers is the largest number of anglers with an analysed fish at which the exact method speaks.
const fewAnglers = 4

// headline chooses the one method that speaks and copies its numbers: this is the only place where that is decided.
// With k up to 4 anglers the exact conditional method over strata; from 5 the mixed model; where that was refused, the
// combination of the anglers' own answers if at most one in ten of them needed the ½, else the exact method.
func headline(r Result, conditional *exact.Conditional, k int, by string, n *notes) Headline {
	switch {
	case k == 0:
		return exactHeadline(nil, "No fish could be analysed; the exact method is named, and has nothing to say.", n)
	case k == 1:
		return exactHeadline(conditional, "One angler has analysed fish: the exact method speaks, over "+by+".", n)
	case k <= fewAnglers:
		return exactHeadline(conditional, fmt.Sprintf("%d anglers have analysed fish: up to %d the exact method speaks, with one stratum an angler.", k, fewAnglers), n)
	case r.MixedModel.Status == Converged:
		m := r.MixedModel
		return Headline{
			Method:  MixedModelWald,
			Reason:  fmt.Sprintf("%d anglers have analysed fish: from %d the mixed model speaks, with t on %d degrees of freedom.", k, fewAnglers+1, k-1),
			LogOdds: m.LogOdds, Low: m.Low, High: m.High, P: m.P, DF: known(float64(k - 1)),
			Share: m.Share, ShareLow: m.ShareLow, ShareHigh: m.ShareHigh,
			AverageShare: m.AverageShare, AverageLow: m.AverageLow, AverageHigh: m.AverageHigh,
		}
	case r.Combined != nil && !tooManyHalves(r.Anglers):
		e := r.Combined.Estimates[r.Combined.Headline]
		return Headline{
			Method:  CombinedAnglers,
			Reason:  fmt.Sprintf("%d anglers have analysed fish, but the mixed model could not be fitted: the combination of the anglers' own answers speaks.", k),
			LogOdds: e.LogOdds, Low: e.Low, High: e.High, P: e.P, DF: known(float64(r.Combined.QDF)),
			Share: share(e.LogOdds), ShareLow: share(e.Low), ShareHigh: share(e.High),
		}
	default:
		return exactHeadline(conditional, fmt.Sprintf("%d anglers have analysed fish, but the mixed model could not be fitted and too many counts are zero "+
			"to combine the anglers' own answers: the exact method speaks, with one stratum an angler.", k), n)
	}
}

// exactHeadline is the exact conditional answer: ½ ln of the odds ratio and its limits, and the p that goes with the
// limits. Without one every number is null.
func exactHeadline(c *exact.Conditional, reason string, n *notes) Headline {
	h := Headline{Method: ExactStratified, Reason: reason}
	if c == nil {
		if !n.has(WarnNoCatches, WarnOneArrangement, WarnOnePosition) {
			n.add(WarnNoInformation, "no stratum has analysed fish in both arrangements and at both positions, so that the exact method has nothing to compare")
		}
		return h
	}
	h.LogOdds, h.Low, h.High, h.P = known2(c.Estimate.Theta()), known2(c.Low.Theta()), known2(c.High.Theta()), known(c.PCentral)
	h.Share, h.ShareLow, h.ShareHigh = known(c.Estimate.Share()), known(c.Low.Share()), known(c.High.Share())
	if h.LogOdds == nil || h.Low == nil || h.High == nil {
		n.add(WarnUnbounded, "the fish of every stratum lie as far to one side as they can: the exact estimate or a limit has no bound, and the share stands at its end")
	}
	return h
}

func share(logOdds *float64) *float64 {
	if logOdds == nil {
		return nil
	}
	return known(num.Expit(*logOdds))
}
