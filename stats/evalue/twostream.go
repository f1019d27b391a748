package evalue

import (
	"math"

	"evenrig/stats/exact"
)

// pseudo is the number of takes of each kind that a stream is begun with: the value
// its authors found best for growth.
const pseudo = 0.18

// TwoStream is the evidence against "equal chances of a lower take in both
// arrangements, whoever fishes", by the product over blocks of
//
//	e = p_a^ya (1-p_a)^(na-ya) p_b^yb (1-p_b)^(nb-yb) / [p_0^(ya+yb) (1-p_0)^(na+nb-ya-yb)],
//
// p_a = (S_a + 0.18)/(N_a + 0.36), S_a lower takes of N_a fish with the test pattern lower
// in the angler's earlier blocks, p_b likewise with the control lower, and
// p_0 = (na·p_a + nb·p_b)/(na + nb). The first block gives 1.
//
// It is a bet that the block's own numbers of fish na, nb were settled without regard to
// what they took, that one chance of a lower take holds for the whole block if the
// patterns are equal, and so that the halves' order has no effect; see [CheckOrder]. Each
// angler has chances of his own, so that position effects may differ. The zero value is
// ready. Not safe for concurrent use.
//
// Source: Turner, Ly & Grünwald (2024), Journal of Statistical Planning and Inference
// 230:106116; stratified, one for each angler: Turner & Grünwald (2023), arXiv 2302.11401.
type TwoStream struct {
	seen map[string]counts // by angler
	log  float64
}

// Add takes an angler's next finished block. Its cost does not depend on the past. Errors: ErrCount,
// and then nothing is changed.
func (e *TwoStream) Add(angler string, block exact.Table) error {
	c, err := newCounts(block)
	if err != nil {
		return err
	}
	seen := e.seen[angler]
	pa := (float64(seen.ya) + pseudo) / (float64(seen.na) + 2*pseudo)
	pb := (float64(seen.yb) + pseudo) / (float64(seen.nb) + 2*pseudo)
	e.log += twoStreamLog(c, pa, pb)
	if e.seen == nil {
		e.seen = map[string]counts{}
	}
	e.seen[angler] = counts{seen.ya + c.ya, seen.na + c.na, seen.yb + c.yb, seen.nb + c.nb}
	return nil
}

// Log returns the evidence so far.
func (e *TwoStream) Log() LogE { return LogE(e.log) }

// twoStreamLog returns ln e of one block under the plug-in chances.
func twoStreamLog(c counts, pa, pb float64) float64 {
	if c.na == 0 || c.nb == 0 {
		return 0
	}
	na, nb, ya, yb := float64(c.na), float64(c.nb), float64(c.ya), float64(c.yb)
	p0 := (na*pa + nb*pb) / (na + nb)
	return ya*math.Log(pa/p0) + (na-ya)*math.Log((1-pa)/(1-p0)) +
		yb*math.Log(pb/p0) + (nb-yb)*math.Log((1-pb)/(1-p0))
}
