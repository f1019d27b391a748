package calibration

// DefaultGrid returns the cells of the study, each named once, in order of K.
//
// The core crosses K, fish per angler and the SD of u; the SD of v and the true
// share go through their values in turn (a fraction of the full factorial in which
// each is balanced against the others). Then come few fish with a strong position
// effect, uneven effort, one angler with most of the fish, and outings that differ.
func DefaultGrid() []Cell {
	var cells []Cell
	sds, shares := []float64{0, .3, .6}, []float64{.5, .6}
	for i, k := range []int{3, 4, 5, 6, 8, 12, 20, 40} {
		for j, fish := range []int{5, 24, 80} {
			for l, sd := range sds {
				cells = append(cells, Cell{Anglers: k, Fish: fish, SDPattern: sd, SDPosition: sds[(i+2*j+l)%3], LowerShare: .65, TestShare: shares[(i+j+l)%2]})
			}
		}
		if k < 5 {
			continue
		}
		for j, fish := range []int{5, 12} {
			cells = append(cells, Cell{Anglers: k, Fish: fish, SDPattern: .3, SDPosition: .3, LowerShare: .8, TestShare: shares[(i+j)%2]})
		}
		most := Cell{Anglers: k, Fish: 24, SDPattern: .6, SDPosition: .3, LowerShare: .65, TestShare: .5, Effort: OneHasMost}
		cells = append(cells, most)
		if k == 40 {
			continue
		}
		half := most
		half.Effort = OneHasHalf
		cells = append(
			cells,
			half,
			Cell{Anglers: k, Fish: 24, SDPattern: sds[i%3], SDPosition: .3, LowerShare: .65, TestShare: shares[i%2], Effort: Uneven},
			Cell{Anglers: k, Fish: 12, SDPattern: .3, SDPosition: .3, LowerShare: .5, TestShare: shares[(i+1)%2]},
			Cell{Anglers: k, Fish: 24, SDPattern: .3, SDPosition: .3, SDOuting: sds[(i+1)%3], LowerShare: .65, TestShare: shares[i%2], OutingFish: 8},
		)
	}
	return cells
}

// SlowGrid returns the twelve cells of the default grid in which SlowMethods are
// tried: few anglers, few fish, a strong position effect, anglers who differ much, one
// with most of the fish.
func SlowGrid() []Cell {
	var cells []Cell
	for _, c := range DefaultGrid() {
		few := c.Anglers == 5 || c.Anglers == 8 || c.Anglers == 12
		differ := c.Fish == 80 && c.SDPattern == .6
		strong := c.Fish == 5 && c.LowerShare == .8
		if few && c.OutingFish == 0 && (differ || strong || c.Effort == OneHasHalf || c.Effort == OneHasMost) {
			cells = append(cells, c)
		}
	}
	return cells
}

// EdgeGrid returns cells beyond those of the default grid, in which nothing is promised:
// they show where the methods begin to fail.
func EdgeGrid() []Cell {
	var cells []Cell
	for _, k := range []int{5, 12, 40} {
		for _, fish := range []int{24, 80} {
			for _, sd := range []float64{.3, .6, 1} {
				cells = append(cells, Cell{Anglers: k, Fish: fish, SDPattern: sd, SDPosition: .3, LowerShare: .65, TestShare: .6, Effort: OneHasNearlyAll})
			}
		}
		cells = append(
			cells,
			Cell{Anglers: k, Fish: 24, SDPattern: 1, SDPosition: .3, LowerShare: .65, TestShare: .6, Effort: OneHasMost},
			Cell{Anglers: k, Fish: 80, SDPattern: 1, SDPosition: 1, LowerShare: .65, TestShare: .6},
			Cell{Anglers: k, Fish: 3, SDPattern: .6, SDPosition: .3, LowerShare: .65, TestShare: .6},
			Cell{Anglers: k, Fish: 3, SDPattern: .6, SDPosition: .3, LowerShare: .8, TestShare: .6},
			Cell{Anglers: k, Fish: 5, SDPattern: .6, SDPosition: .6, LowerShare: .9, TestShare: .6},
			Cell{Anglers: k, Fish: 5, SDPattern: 1, SDPosition: .6, LowerShare: .8, TestShare: .75},
		)
	}
	return cells
}
