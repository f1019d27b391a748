package trial

import "strconv"

// Drawn lists an angler's opened units as blocks of the draw, for whoever draws the orders anew: those of the service in the
// order of the draw, then each that was drawn by a coin or a slip as a group of its own. key is the enrolment's (see
// AllocationKey) and units are all of the enrolment's. A unit that was handed out and never opened is left out and keeps its
// group's size unknown, as does one that was not handed out yet.
func (d Draw) Drawn(key [32]byte, pseudonym string, units []Unit) []DrawnBlock {
	opened := make(map[int]Unit, len(units))
	last := 0
	for _, u := range units {
		if u.OpenedAt != nil && !u.Own() {
			opened[u.drawNumber()] = u
			last = max(last, u.drawNumber())
		}
	}
	var blocks []DrawnBlock
	g := 1
	for n := 1; n <= last; g++ {
		size := len(d.group(key, g))
		first := len(blocks)
		for end := n + size; n < end; n++ {
			if u, ok := opened[n]; ok {
				blocks = append(blocks, DrawnBlock{Angler: pseudonym, Block: strconv.Itoa(u.N), Group: g, First: u.First})
			}
		}
		if len(blocks)-first < size {
			continue
		}
		for i := range blocks[first:] {
			blocks[first+i].Size = size
		}
	}
	for _, u := range units {
		if u.OpenedAt != nil && u.Own() {
			blocks = append(blocks, DrawnBlock{Angler: pseudonym, Block: strconv.Itoa(u.N), Group: g, Size: 1, First: u.First})
			g++
		}
	}
	return blocks
}
