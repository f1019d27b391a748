package analysis

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// rawShare returns the test pattern's part of all analysed fish; nil without one.
func rawShare(c Counts, level float64) (*RawShare, error) {
	if c.Analysed == 0 {
		return nil, nil
	}
	low, high, err := exact.ClopperPearson(c.Test, c.Analysed, level)
	if err != nil {
		return nil, fmt.Errorf("raw share: %w", err)
	}
	p, err := exact.BinomialTwoSided(c.Test, c.Analysed, .5)
	if err != nil {
		return nil, fmt.Errorf("raw share: %w", err)
	}
	return &RawShare{Estimate: float64(c.Test) / float64(c.Analysed), Low: low, High: high, P: p}, nil
}

// pooledTable takes all fish as independent; nil unless both arrangements and both positions have fish.
func pooledTable(t exact.Table, level float64, n *notes) (*PooledTable, error) {
	if !t.Informative() {
		return nil, nil
	}
	var p PooledTable
	switch woolf, err := exact.Woolf(t, level); {
	case errors.Is(err, exact.ErrZeroCell):
		n.add(WarnZeroCell, "one of the four counts of the pooled table is zero: its large-sample estimate is not given, and its conditional odds ratio is 0 or without bound")
	case err != nil:
		return nil, fmt.Errorf("pooled table: %w", err)
	default:
		p.LogOdds, p.StdError = known(woolf.Theta), known(woolf.StdErr)
		p.Low, p.High, p.P = known(woolf.Low), known(woolf.High), known(woolf.P)
		p.Share, p.ShareLow, p.ShareHigh = known(num.Expit(woolf.Theta)), known(num.Expit(woolf.Low)), known(num.Expit(woolf.High))
		p.PositionLogOdds = known(woolf.Beta)
	}
	fisher, err := exact.FisherTwoSided(t)
	if err != nil {
		return nil, fmt.Errorf("pooled table: %w", err)
	}
	c, err := exact.ConditionalTest([]exact.Table{t}, level)
	if err != nil {
		return nil, fmt.Errorf("pooled table: %w", err)
	}
	p.FisherP = known(fisher)
	p.Conditional, p.ConditionalLow, p.ConditionalHigh = known2(c.Estimate.Ratio()), known2(c.Low.Ratio()), known2(c.High.Ratio())
	return &p, nil
}

// strata returns the tables over which the stratified methods work: anglers, or for one angler the blocks, else the
// outings, the first of which any has both arrangements, else one table with a warning. by says which.
func (d dataset) strata(in Input, n *notes) (tables []exact.Table, by string) {
	with := d.withFish()
	if len(with) != 1 {
		for _, a := range with {
			tables = append(tables, a.table)
		}
		return tables, "anglers"
	}
	for _, choice := range []struct {
		by     string
		strata []stratum
	}{{"blocks", blocksOf(in, with[0].label)}, {"outings", with[0].outings}} {
		tables = nil
		usable := false
		for _, s := range choice.strata {
			tables = append(tables, s.table)
			named := s.label != "" && s.label[0] != 0
			usable = usable || named && s.table.A+s.table.B > 0 && s.table.C+s.table.D > 0
		}
		if usable {
			return tables, choice.by
		}
	}
	if !with[0].table.Informative() {
		return []exact.Table{with[0].table}, "one table"
	}
	n.add(WarnOneStratum, "no round and no outing has analysed fish both ways round, so that all fish stand in one table: water, day and light are not taken out")
	return []exact.Table{with[0].table}, "one table"
}

// stratified is the answer within strata, and the odds ratio that the headline may use; nil where no stratum says
// anything.
func stratified(tables []exact.Table, level float64, n *notes) (*Stratified, *exact.Conditional, error) {
	cond, err := exact.ConditionalTest(tables, level)
	switch {
	case noInformation(err):
		if !n.has(WarnNoCatches, WarnOneArrangement, WarnOnePosition) {
			n.add(WarnNoInformation, "nobody has analysed fish both ways round and at both positions, so that the methods that compare within an angler have nothing to compare")
		}
		return nil, nil, nil
	case err != nil:
		return nil, nil, fmt.Errorf("stratified: %w", err)
	}
	s := Stratified{
		Strata: cond.Strata, ExactP: known(cond.P), ExactPCentral: known(cond.PCentral),
		ExactOddsRatio: known2(cond.Estimate.Ratio()), ExactLow: known2(cond.Low.Ratio()), ExactHigh: known2(cond.High.Ratio()),
	}
	cmh, err := exact.CochranMantelHaenszel(tables)
	if err != nil {
		return nil, nil, fmt.Errorf("stratified: %w", err)
	}
	s.Statistic, s.P = known(cmh.Statistic), known(cmh.P)
	if s.ExactOddsRatio == nil || s.ExactHigh == nil || cond.Low.End != exact.Inside {
		n.add(WarnUnbounded, "the fish of every stratum lie as far to one side as they can: within strata an estimate or limit has no bound, and its share stands at the end, 0 or 1")
	}
	switch mh, err := exact.MantelHaenszel(tables, level); {
	case noInformation(err): // ErrUnbounded, as the exact one
	case err != nil:
		return nil, nil, fmt.Errorf("stratified: %w", err)
	default:
		s.OddsRatio, s.Low, s.High = ratio(mh.LogOR), ratio(mh.Low), ratio(mh.High)
	}
	switch h, err := exact.TaroneHomogeneity(tables); {
	case noInformation(err):
		n.add(WarnNoHomogeneity, "whether the strata agree is not tested: that takes two of them with fish in both arrangements and at both positions, and an odds ratio that has bounds")
	case err != nil:
		return nil, nil, fmt.Errorf("stratified: %w", err)
	default:
		s.HomogeneityX2, s.HomogeneityP = known(h.Tarone), known(h.P)
	}
	return &s, &cond, nil
}

// ratio returns exp(x), nil where it is too large for a number.
func ratio(x float64) *float64 { return known2(math.Exp(x), true) }
