package analysis

import (
	"errors"
	"fmt"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/meta"
	"evenrig/stats/num"
)

// besideCombined fills in what stands beside the rows of the combination: each angler left out, how answers go with the
// number of fish, and the exact conditional combination. effects and labels are those that were combined.
func (c *Combined) besideCombined(d dataset, effects []meta.Effect, labels []string, level float64, n *notes) error {
	if c == nil {
		return nil
	}
	if err := c.leaveOneOut(effects, labels, level, n); err != nil {
		return err
	}
	if err := c.byFish(d, effects, labels, level, n); err != nil {
		return err
	}
	return c.conditional(d, level, n)
}

// leaveOneOut refits the row that may speak without each angler in turn.
func (c *Combined) leaveOneOut(effects []meta.Effect, labels []string, level float64, n *notes) error {
	if len(effects) < 3 {
		return nil
	}
	rest, err := meta.LeaveOneOut(effects, meta.REML, meta.ModifiedHK, level)
	if err != nil {
		return fmt.Errorf("leave one out: %w", err)
	}
	influence, err := meta.MeasureInfluence(effects, meta.REML, meta.ModifiedHK)
	if err != nil {
		return fmt.Errorf("leave one out: %w", err)
	}
	var influential []string
	for i, row := range rest {
		c.LeaveOneOut = append(c.LeaveOneOut, LeftOneOut{
			Angler: labels[i], LogOdds: known(row.Mu), Low: known(row.Low), High: known(row.High),
			Information: known(influence[i].Share), Shift: known(influence[i].ChangeInStdErrs), Influential: influence[i].Notable,
		})
		if influence[i].Notable {
			influential = append(influential, labels[i])
		}
	}
	switch {
	case len(influential) == 1:
		n.add(WarnInfluential, "without %s the combination of the anglers' own answers would move by more than %g in log odds, at 50 of 100 by some %s of 100", influential[0], meta.Notable, OutOf100(num.Expit(meta.Notable)-.5))
	case len(influential) > 1:
		n.add(WarnInfluential, "without any one of %s the combination of the anglers' own answers would move by more than %g in log odds, at 50 of 100 by some %s of 100", listed(influential), meta.Notable, OutOf100(num.Expit(meta.Notable)-.5))
	}
	return nil
}

// byFish asks whether anglers with few fish answer otherwise than those with many, which hints at selective logging: by the
// standard errors of their answers (Egger et al. 1997, BMJ 315:629), and by their numbers of fish, which unlike standard errors
// do not go with the answer by themselves (Macaskill, Walter and Irwig 2001, Statistics in Medicine 20:641).
func (c *Combined) byFish(d dataset, effects []meta.Effect, labels []string, level float64, n *notes) error {
	if len(effects) < meta.LeastForAsymmetry {
		return nil
	}
	switch test, err := meta.Asymmetry(effects, meta.Multiplicative); {
	case errors.Is(err, meta.ErrColumns):
		n.add(WarnPartRefused, "whether anglers with little information answer otherwise is not looked at: all have the same")
	case err != nil:
		return fmt.Errorf("asymmetry: %w", err)
	default:
		c.Asymmetry = &MetaTest{Statistic: test.Statistic, DF: float64(test.DF), P: test.P}
	}
	fish := map[string]float64{}
	for _, a := range d.anglers {
		fish[a.label] = float64(a.table.Total())
	}
	doublings := make([]float64, len(labels))
	for i, label := range labels {
		doublings[i] = math.Log2(fish[label])
	}
	switch fit, err := meta.Regress(effects, [][]float64{doublings}, meta.REML, meta.ModifiedHK, level); {
	case errors.Is(err, meta.ErrColumns):
		n.add(WarnPartRefused, "whether answers go with the number of fish is not looked at: all anglers have as many")
	case err != nil:
		return fmt.Errorf("regression on fish: %w", err)
	default:
		slope := fit.Coefficients[1]
		c.Regression = &MetaRegression{
			Column: "fish_doubled", LogOdds: known(slope.Estimate), StdError: known(slope.StdErr), Low: known(slope.Low), High: known(slope.High), P: known(slope.P),
		}
	}
	return nil
}

// conditional combines the anglers' tables by their exact conditional likelihood: no ½, no large counts needed.
func (c *Combined) conditional(d dataset, level float64, n *notes) error {
	var tables []exact.Table
	for _, a := range d.withFish() {
		tables = append(tables, a.table)
	}
	row, err := meta.ConditionalPool(tables, level)
	switch {
	case errors.Is(err, meta.ErrManyTerms):
		n.add(WarnPartRefused, "the anglers' counts are not combined by their exact likelihood: %d fish of %d anglers are too many for it, and enough for the other rows", d.counts.Analysed, len(tables))
		return nil
	case errors.Is(err, meta.ErrUnbounded), errors.Is(err, meta.ErrRunaway), errors.Is(err, meta.ErrNoMaximum), errors.Is(err, meta.ErrTooFewEffects), errors.Is(err, meta.ErrLargeTable):
		n.add(WarnPartRefused, "the anglers' counts are not combined by their exact likelihood: these fish give it no finite answer")
		return nil
	case err != nil:
		return fmt.Errorf("conditional combination: %w", err)
	}
	c.Conditional = &ConditionalRow{
		Anglers: row.K, LogOdds: known(row.Theta), Low: known(row.Low), High: known(row.High), P: known(row.P), Tau2: known(row.Tau * row.Tau),
	}
	return nil
}
