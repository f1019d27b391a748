package exact

import (
	"fmt"
	"math/rand/v2"
)

// Redeal draws the order of every block anew, as it was drawn: a group's size is picked from those that it can have had, each as
// likely, then one of its balanced orders, of which the first blocks are used; a coin is a group of one. The answer has the shape of
// d.Anglers and says whether the test pattern is lower in the first half. The same random source gives the same orders.
//
// Errors: ErrDraw, naming angler and group. Source: as for Randomise.
func (d Draw) Redeal(random *rand.Rand) ([][]bool, error) {
	dealt := make([][]bool, len(d.Anglers))
	for a, blocks := range d.Anglers {
		dealt[a] = make([]bool, 0, len(blocks))
		for from := 0; from < len(blocks); {
			to := from + 1
			for to < len(blocks) && blocks[to].Group == blocks[from].Group {
				to++
			}
			whole, err := wholeSizes(blocks[from:to], d.Sizes)
			if err != nil {
				return nil, fmt.Errorf("angler %d, group %d: %w", a+1, blocks[from].Group, err)
			}
			dealt[a] = append(dealt[a], order(whole[random.IntN(len(whole))], random)[:to-from]...)
			from = to
		}
	}
	return dealt, nil
}

// order is a uniformly random order of a group of size blocks, half of them each way; of a coin, either way.
func order(size int, random *rand.Rand) []bool {
	testFirst := make([]bool, size)
	if size == 1 {
		testFirst[0] = random.IntN(2) == 1
		return testFirst
	}
	for i := range size / 2 {
		testFirst[i] = true
	}
	random.Shuffle(size, func(i, j int) { testFirst[i], testFirst[j] = testFirst[j], testFirst[i] })
	return testFirst
}
