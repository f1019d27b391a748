package power

import "fmt"

// Advice about a swap rule is given below these: two thirds of the fish in finished
// blocks, half of the outings with a swap; fewer than two fish an outing go one
// way round for the whole outing.
const (
	enoughFinished = 2. / 3
	enoughSwapped  = 1. / 2
	fewFish        = 2
)

// warn adds what must be known before the numbers are read.
func (p planner) warn(a *Answer) {
	add := func(code, format string, args ...any) {
		a.Warnings = append(a.Warnings, Warning{code, fmt.Sprintf(format, args...)})
	}
	switch {
	case p.Anglers == 1 && p.Design != Paired:
		add(WarnFewAnglers, "one angler's answer is about that angler only, and takes fish as independent of each other")
	case p.Anglers == 1:
		add(WarnFewAnglers, "one angler's answer is about that angler only, and takes fish as independent of each other; it is counted round by round, so that many short rounds "+
			"cost some of the fish, which only seasons played by chance show")
	case p.Anglers <= FewAnglers:
		add(WarnFewAnglers, "up to %d anglers the answer is about these anglers only: how much others differ cannot be told from so few, and where anglers differ, "+
			"what is seen in these may be false of anglers at large more often than %v of 100 times", FewAnglers, 100*p.Alpha)
	case p.SDPattern == 0:
		add(WarnAnglersAlike, "anglers are taken as alike (sd_pattern 0), which no trial can know beforehand: its method allows for differences, so that with few anglers "+
			"the chance worked out is too hopeful, which that of seasons played by chance is not")
	}
	if a.ByFish == nil {
		add(WarnFishNeverEnough, "with %d anglers who differ this much no number of fish is enough; only more anglers help", p.Anglers)
	}
	if a.ByAnglers == nil {
		add(WarnNeverEnough, "no number of anglers up to %d is enough for this share", MostAnglers)
	}
	if p.Stopping == Anytime {
		add(WarnAnytime, "what is worked out is for one count at the end; weighing the evidence at any time takes more, and only seasons played by chance say how much. "+
			"The evidence is against no effect for any angler: where anglers differ it is found more often than alpha says")
	}
	p.warnOfSwap(a, add)
	if n := a.Played; n != nil && n.NoAnswer > .01 {
		add(WarnNoAnswer, "in %.0f of 100 seasons no method gave an answer: too few fish for the model, or one way round only", 100*n.NoAnswer)
	}
}

func (p planner) warnOfSwap(a *Answer, add func(code, format string, args ...any)) {
	own := a.Swaps[0]
	advice := ""
	switch {
	case p.Design == PairedByOuting, p.Design == Alternating:
		return
	case p.FishPerOuting < fewFish:
		advice = "; with fewer than 2 fish an outing fish one way round for a whole outing (paired_by_outing)"
	case p.better(a) != nil:
		advice = fmt.Sprintf("; swap after %d fish, or let a round go on at the next outing (block_may_span_outings)", *p.better(a))
	default:
		advice = "; let a round go on at the next outing (block_may_span_outings), or fish one way round for a whole outing (paired_by_outing)"
	}
	switch {
	case p.Swap.BlockMaySpan:
	case own.Swapped < enoughSwapped:
		add(WarnHardlySwaps, "this rule hardly ever swaps: only %.0f of 100 outings see a swap at all%s", 100*own.Swapped, advice)
	case own.Finished < enoughFinished:
		add(WarnUnfinishedBlocks, "only %.0f of 100 fish would stand in finished rounds%s", 100*own.Finished, advice)
	}
}

// better is the largest number of fish, below the rule's own, after which to swap
// for two thirds of the fish in finished blocks; nil where there is none.
func (p planner) better(a *Answer) *int {
	var best *int
	for _, s := range a.Swaps[1:] {
		n := s.Rule.AfterFish
		if s.Finished >= enoughFinished && s.Swapped >= enoughSwapped && *n < *p.Swap.AfterFish && (best == nil || *n > *best) {
			best = n
		}
	}
	return best
}
