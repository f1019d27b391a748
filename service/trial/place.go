package trial

import (
	"math"
	"strconv"
	"strings"
)

// A place is written by the south-west corner of the cell that holds it, like "54.1N 2.3W" (WGS 84): the more decimals,
// the smaller the cell.

// gridDigits says how many decimals of a degree a grid's cells keep.
var gridDigits = map[string]int{Grid10Kilo: 1, Grid1Kilo: 2}

// CellSize is the side of the grid's cells in degrees, 0 where places are not kept.
func CellSize(grid string) float64 {
	if digits, kept := gridDigits[grid]; kept {
		return math.Pow10(-digits)
	}
	return 0
}

// CellUncertainty is how far from its cell's corner a place can be, in whole metres: what rounding to 0.1 or 0.01 degree
// adds (Chapman & Wieczorek 2020, Georeferencing Best Practices). 0 where places are not kept.
func CellUncertainty(grid string) int {
	return map[string]int{Grid10Kilo: 15691, Grid1Kilo: 1570}[grid]
}

// GridOf returns the grid that a cell is of.
func GridOf(cell string) string {
	for grid, digits := range gridDigits {
		if lat, _, _ := strings.Cut(cell, " "); strings.IndexByte(lat, '.') == len(lat)-digits-2 {
			return grid
		}
	}
	return NoGrid
}

// PlaceAt writes a device's position in degrees, as exactly as it was given. It is only ever on its way to CellOf: nothing
// stores, logs or prints it.
func PlaceAt(latitude, longitude float64) string {
	return degreesText(latitude, "N", "S") + " " + degreesText(longitude, "E", "W")
}

func degreesText(degrees float64, positive, negative string) string {
	text := strconv.FormatFloat(math.Abs(degrees), 'f', -1, 64)
	if !strings.Contains(text, ".") {
		text += ".0"
	}
	text += "0" // a whole number of tenths is one of hundredths too
	if degrees < 0 {
		return text + negative
	}
	return text + positive
}

// CellOf returns the cell of the protocol's grid that holds a place, empty where the protocol keeps no places. The place is
// rounded down, never moved at random: jittered points average out to the spot.
//
// Errors: Invalid for what is no place and for one coarser than the grid; they never repeat what was sent.
func (p Protocol) CellOf(place string) (string, error) {
	lat, long, _ := strings.Cut(place, " ")
	south, southDigits, ok := readDegrees(lat, "N", "S", 90)
	west, westDigits, okToo := readDegrees(long, "E", "W", 180)
	digits, kept := gridDigits[p.PlaceGrid]
	var f Faults
	switch {
	case !ok || !okToo:
		f.Add("place", "is no place; accepted: latitude -90 to 90 and longitude -180 to 180, or a cell like 54.1N 2.3W")
	case kept && min(southDigits, westDigits) < digits:
		f.Add("place", "is coarser than the protocol's grid of %g degrees; accepted: %d decimals or more", CellSize(p.PlaceGrid), digits)
	}
	if err := f.Err("outing.invalid", "the outing has faults"); err != nil || !kept {
		return "", err
	}
	return floorDegrees(south, digits, 90, "N", "S") + " " + floorDegrees(west, digits, 180, "E", "W"), nil
}

// readDegrees reads one coordinate as signed decimal digits, and counts its decimals.
func readDegrees(text, positive, negative string, limit float64) (number string, decimals int, ok bool) {
	number, north := strings.CutSuffix(text, positive)
	if !north {
		var south bool
		if number, south = strings.CutSuffix(text, negative); !south {
			return "", 0, false
		}
	}
	whole, fraction, pointed := strings.Cut(number, ".")
	if !pointed || whole == "" || fraction == "" || strings.Trim(whole+fraction, "0123456789") != "" {
		return "", 0, false
	}
	degrees, err := strconv.ParseFloat(number, 64)
	if err != nil || degrees > limit {
		return "", 0, false
	}
	if !north {
		number = "-" + number
	}
	return number, len(fraction), true
}

// floorDegrees rounds down to whole grid steps. It works on the digits, because 0.29 times 100 is less than 29 in binary. The
// globe's last line belongs to the cell before it.
func floorDegrees(number string, digits int, limit int, positive, negative string) string {
	number, below := strings.CutPrefix(number, "-")
	whole, fraction, _ := strings.Cut(number, ".")
	steps, _ := strconv.Atoi(whole + fraction[:digits]) //nolint:errcheck // digits within the limit, as read
	if below {
		if strings.Trim(fraction[digits:], "0") != "" {
			steps++
		}
		steps = -steps
	}
	scale := int(math.Pow10(digits))
	steps = min(steps, limit*scale-1)
	side := positive
	if steps < 0 {
		side, steps = negative, -steps
	}
	return strconv.Itoa(steps/scale) + "." + strconv.Itoa(scale + steps%scale)[1:] + side
}
