package trial

import "strconv"

// Drawn lists an angler's opened units as blocks of the draw, in the order of the units, for whoever draws the orders anew.
// key is the enrolment's (see AllocationKey) and units are all that were handed out. A unit that was handed out and never
// opened is left out and keeps its group's size unknown, as does one that was not handed out yet.
func (d Draw) Drawn(key [32]byte, pseudonym string, units []Unit) []DrawnBlock {
	opened := make(map[int]Unit, len(units))
	last := 0
	for _, u := range units {
		if u.OpenedAt != nil {
			opened[u.N] = u
			last = max(last, u.N)
		}
	}
	var blocks []DrawnBlock
	for g, n := 1, 1; n <= last; g++ {
		size := len(d.group(key, g))
		first := len(blocks)
		for end := n + size; n < end; n++ {
			if u, ok := opened[n]; ok {
				blocks = append(blocks, DrawnBlock{Angler: pseudonym, Block: strconv.Itoa(n), Group: g, First: u.First})
			}
		}
		if len(blocks)-first < size {
			continue
		}
		for i := range blocks[first:] {
			blocks[first+i].Size = size
		}
	}
	return blocks
}
