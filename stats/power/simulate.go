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
	// no effect). WrongSide: on the other. NoAnswer: no method gave one.
	Settled   float64 `json:"settled"`
	WrongSide float64 `json:"wrong_side"`
	NoAnswer  float64 `json:"no_answer"`
	// StdErr is the Monte Carlo standard error of Settled.
	StdErr float64 `json:"std_error"`
	// Means per season: fish landed, fish analysed, anglers with one, outings.
	Landed   float64 `json:"landed"`
	Analysed float64 `json:"analysed"`
	Anglers  float64 `json:"anglers"`
	Outings  float64 `json:"outings"`
}

// side is what a season's interval says.
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
	landed, analysed, anglers, outings int
}

// Play draws n seasons and analyses each as a trial's headline does: the mixed
// model with the joint Laplace approximation and t on K-1 from 5 anglers, with outings where
// they can be told apart; the exact conditional method up to 4, over anglers or,
// for one angler, blocks. Season i depends on the seed and i alone.
//
// Errors: ErrArgument; the context's.
func Play(ctx context.Context, s Season, alpha float64, n, workers int, seed uint64, progress func(done int)) (Played, error) {
	seasons, err := simulate.Run(ctx, n, workers, seed, func(_ int, random *rand.Rand) ended {
		c := s.draw(random)
		e := ended{landed: c.landed, outings: c.outings, anglers: withFish(c.cells)}
		for _, cell := range c.cells {
			e.analysed += cell.Test + cell.Control
		}
		e.says = headline(c, e.anglers, alpha)
		return e
	}, progress)
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
		p.Landed += float64(e.landed)
		p.Analysed += float64(e.analysed)
		p.Anglers += float64(e.anglers)
		p.Outings += float64(e.outings)
	}
	for _, mean := range []*float64{&p.Settled, &p.WrongSide, &p.NoAnswer, &p.Landed, &p.Analysed, &p.Anglers, &p.Outings} {
		*mean /= float64(n)
	}
	p.StdErr = math.Sqrt(p.Settled * (1 - p.Settled) / float64(n))
	return p, nil
}

// withFish counts the anglers with an analysed fish; cells stand angler by angler.
func withFish(cells []glmm.Cell) int {
	k, last := 0, -1
	for _, c := range cells {
		if c.Angler != last && c.Test+c.Control > 0 {
			k, last = k+1, c.Angler
		}
	}
	return k
}

// headline is the side on which the method that speaks puts the interval.
func headline(c catch, anglers int, alpha float64) side {
	if anglers <= FewAnglers {
		return exactly(c, anglers == 1, alpha)
	}
	vary := glmm.VaryPatternPosition
	if outingsRepeat(c.cells) {
		vary = glmm.VaryPatternPositionOuting
	}
	fit, err := glmm.FitTrial(c.cells, glmm.Options{Vary: vary, Points: 1})
	switch {
	case errors.Is(err, glmm.ErrSeparation):
		return exactly(c, false, alpha)
	case err != nil:
		return none
	}
	if num.StudentTwoSided(fit.Theta/fit.ThetaSE, float64(anglers-1)) > alpha {
		return open
	}
	return sideOf(fit.Theta)
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
	fish, outings, anglers := 0, 0, 0
	last, days := -1, 0
	for i := 0; i+1 < len(cells); i += 2 {
		n := cells[i].Test + cells[i].Control + cells[i+1].Test + cells[i+1].Control
		if n == 0 {
			continue
		}
		if cells[i].Angler != last {
			last, days = cells[i].Angler, 0
		}
		if days++; days == 2 {
			anglers++
		}
		fish, outings = fish+n, outings+1
	}
	return anglers >= 2 && fish >= 2*outings
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
