package evalue_test

import (
	"math/rand/v2"
	"strconv"

	"evenrig/stats/exact"
	"evenrig/stats/num"
)

// world is a way of fishing: logit P(lower taken) = β + position + drift·block + shift·(first half) + θ·c.
type world struct {
	anglers int
	blocks  int   // of each angler
	half    int   // fish in half a block
	sizes   []int // of permuted groups; nil for coins
	theta   float64
	thetaSD float64 // between anglers
	beta    float64
	betaSD  float64 // of position effects, between anglers
	shift   float64 // first half against second
	blockSD float64 // of position effects, between blocks
}

// drawn is one block of an angler, in the order of time over the whole trial.
type drawn struct {
	angler string
	block  exact.DrawnBlock
}

// fish makes a trial. Anglers take turns.
func (w world) fish(random *rand.Rand) []drawn {
	orders := make([][]exact.DrawnBlock, w.anglers)
	theta, beta := make([]float64, w.anglers), make([]float64, w.anglers)
	for a := range orders {
		orders[a] = draw(random, w.sizes, w.blocks)
		theta[a] = w.theta + w.thetaSD*random.NormFloat64()
		beta[a] = w.beta + w.betaSD*random.NormFloat64()
	}
	var trial []drawn
	for j := range w.blocks {
		for a := range orders {
			b := orders[a][j]
			position := beta[a] + w.blockSD*random.NormFloat64()
			c := -1.0
			if b.TestFirst {
				c = 1
			}
			b.First = takes(random, w.half, position+w.shift+theta[a]*c)
			b.Second = takes(random, w.half, position-theta[a]*c)
			trial = append(trial, drawn{strconv.Itoa(a), b})
		}
	}
	return trial
}

func takes(random *rand.Rand, n int, logit float64) exact.Takes {
	var t exact.Takes
	p := num.Expit(logit)
	for range n {
		if random.Float64() < p {
			t.Lower++
		} else {
			t.Upper++
		}
	}
	return t
}

// draw gives the orders of n blocks: groups of sizes chosen with equal chance, each a random
// order with half of its blocks each way; the size stands at the last block of a group.
func draw(random *rand.Rand, sizes []int, n int) []exact.DrawnBlock {
	var blocks []exact.DrawnBlock
	for group := 1; len(blocks) < n; group++ {
		if sizes == nil {
			blocks = append(blocks, exact.DrawnBlock{Group: group, Size: 1, TestFirst: random.IntN(2) == 0})
			continue
		}
		size := sizes[random.IntN(len(sizes))]
		for i, k := range random.Perm(size) {
			b := exact.DrawnBlock{Group: group, TestFirst: k < size/2}
			if i == size-1 {
				b.Size = size
			}
			blocks = append(blocks, b)
		}
	}
	return blocks[:n]
}
