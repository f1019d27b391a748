package power

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/num"
	"evenrig/stats/simulate"
)

// Played is what many seasons, played by chance, came to. The shares are of
// seasons, 0 to 1.
type Played struct {
	Seasons int `json:"seasons"`
	// Settled: the interval kept clear of one half on the true side (on either, with
	// no effect), or a look or the evidence stopped the trial there. WrongSide: on the
	// other. NoAnswer: no method gave one.
	Settled   float64 `json:"settled"`
	WrongSide float64 `json:"wrong_side"`
	NoAnswer  float64 `json:"no_answer"`
	// StdErr is the Monte Carlo standard error of Settled.
	StdErr float64 `json:"std_error"`
	// Early is the share of seasons that a look or the evidence ended before their time.
	Early float64 `json:"early"`
	// Means per season: fish landed, fish analysed, anglers with one, outings.
	Landed   float64 `json:"landed"`
	Analysed float64 `json:"analysed"`
	Anglers  float64 `json:"anglers"`
	Outings  float64 `json:"outings"`
}

// side is what a season's answer says.
type side int

const (
	none side = iota // no method gave an answer
	open             // not settled
	test
	control
)

// ended is one season at its end.
type ended struct {
	says                               side
	early                              bool
	landed, analysed, anglers, outings int
}

// Play draws n seasons and analyses each as a trial's headline does: the mixed
// model with the joint Laplace approximation and t on K-1 from 5 anglers, with outings where
// they can be told apart; the exact conditional method up to 4, over anglers or,
// for one angler, blocks. A stopping rule with looks, or by evidence, may end a
// season early. Season i depends on the seed and i alone.
//
// Errors: ErrArgument for a rule that cannot be; the context's.
func Play(ctx context.Context, s Season, rule Stopping, n, workers int, seed uint64, progress func(done int)) (Played, error) {
	s.coin = rule.Rule == Anytime
	judge, err := rule.judge(s)
	if err != nil {
		return Played{}, err
	}
	seasons, err := simulate.Run(ctx, n, workers, seed, func(_ int, random *rand.Rand) ended { return judge(s.draw(random)) }, progress)
	if err != nil {
		return Played{}, err
	}
	p := Played{Seasons: n}
	for _, e := range seasons {
		right := e.says == test && s.Theta >= 0 || e.says == control && s.Theta <= 0
		switch {
		case e.says == none:
			p.NoAnswer++
		case right:
			p.Settled++
		case e.says != open:
			p.WrongSide++
		}
		if e.early {
			p.Early++
		}
		p.Landed += float64(e.landed)
		p.Analysed += float64(e.analysed)
		p.Anglers += float64(e.anglers)
		p.Outings += float64(e.outings)
	}
	for _, mean := range []*float64{&p.Settled, &p.WrongSide, &p.NoAnswer, &p.Early, &p.Landed, &p.Analysed, &p.Anglers, &p.Outings} {
		*mean /= float64(n)
	}
	p.StdErr = math.Sqrt(p.Settled * (1 - p.Settled) / float64(n))
	return p, nil
}

// whole is a season at its end without what it says.
func whole(c catch) ended {
	e := ended{landed: c.landed, outings: len(c.days), anglers: withFish(c.cells)}
	for _, cell := range c.cells {
		e.analysed += cell.Test + cell.Control
	}
	return e
}

// withFish counts the anglers with an analysed fish.
func withFish(cells []glmm.Cell) int {
	seen := map[int]bool{}
	for _, c := range cells {
		if c.Test+c.Control > 0 {
			seen[c.Angler] = true
		}
	}
	return len(seen)
}

// headline is the side on which the method that speaks puts the interval.
func headline(c catch, anglers int, alpha float64) side {
	if anglers <= FewAnglers {
		return exactly(c, anglers == 1, alpha)
	}
	fit, p, err := mixed(c.cells, anglers)
	switch {
	case errors.Is(err, glmm.ErrSeparation):
		return exactly(c, false, alpha)
	case err != nil:
		return none
	case p > alpha:
		return open
	}
	return sideOf(fit.Theta)
}

// mixed fits the model in which days differ where they can be told apart, with p by
// t on K-1.
func mixed(cells []glmm.Cell, anglers int) (*glmm.TrialResult, float64, error) {
	vary := glmm.VaryPatternPosition
	if outingsRepeat(cells) {
		vary = glmm.VaryPatternPositionOuting
	}
	fit, err := glmm.FitTrial(cells, glmm.Options{Vary: vary, Points: 1})
	if err != nil {
		return nil, 0, err
	}
	return fit, num.StudentTwoSided(fit.Theta/fit.ThetaSE, float64(anglers-1)), nil
}

func sideOf(theta float64) side {
	switch {
	case theta > 0:
		return test
	case theta < 0:
		return control
	default:
		return open
	}
}

// outingsRepeat reports whether two anglers have fish on two outings each and such
// an outing has two fish on average: then outings are in the model.
func outingsRepeat(cells []glmm.Cell) bool {
	type outing struct{ angler, number int }
	seen, days := map[outing]bool{}, map[int]int{}
	fish, anglers := 0, 0
	for _, c := range cells {
		o := outing{c.Angler, c.Outing}
		n := c.Test + c.Control
		fish += n
		if n == 0 || seen[o] {
			continue
		}
		seen[o] = true
		if days[c.Angler]++; days[c.Angler] == 2 {
			anglers++
		}
	}
	return anglers >= 2 && fish >= 2*len(seen)
}

// exactly is the side by the exact conditional method, its strata the anglers or
// the blocks.
func exactly(c catch, byBlock bool, alpha float64) side {
	var tables []exact.Table
	if byBlock {
		for _, b := range c.blocks {
			tables = append(tables, table(b.lower(), b.upper()))
		}
	} else {
		tables = byAngler(c.cells)
	}
	r, err := exact.ConditionalTest(tables, 1-alpha)
	switch {
	case err != nil:
		return none
	case r.PCentral > alpha:
		return open
	case r.Estimate.End == exact.AtInfinity:
		return test
	case r.Estimate.End == exact.AtZero:
		return control
	}
	return sideOf(r.Estimate.Log)
}

func table(lower, upper count) exact.Table {
	return exact.Table{A: int64(lower.test), B: int64(lower.control), C: int64(upper.test), D: int64(upper.control)}
}

func byAngler(cells []glmm.Cell) []exact.Table {
	var tables []exact.Table
	last := -1
	for _, c := range cells {
		if c.Angler != last {
			tables, last = append(tables, exact.Table{}), c.Angler
		}
		t := &tables[len(tables)-1]
		if c.TestLower {
			t.A, t.B = t.A+int64(c.Test), t.B+int64(c.Control)
		} else {
			t.C, t.D = t.C+int64(c.Test), t.D+int64(c.Control)
		}
	}
	return tables
}
