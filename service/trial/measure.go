package trial

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Measure is a number as typed, with its unit: a length in mm, cm or in, a temperature in C or F. It is kept as typed
// and converted once.
type Measure struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// String writes the measure as typed, like "31.5 cm".
func (m Measure) String() string { return strconv.FormatFloat(m.Value, 'f', -1, 64) + " " + m.Unit }

// Millimetres converts a length, rounded to the millimetre; 1 in = 25.4 mm exactly (NIST SP 811).
func (m Measure) Millimetres() (int, error) {
	factor, ok := map[string]float64{"mm": 1, "cm": 10, "in": 25.4}[m.Unit]
	if !ok {
		return 0, fmt.Errorf("has the unit %q; accepted: mm, cm, in", m.Unit)
	}
	mm := m.Value * factor
	if !(mm >= 1 && mm <= 3000) {
		return 0, fmt.Errorf("is %s; accepted: 1 mm to 3000 mm", m)
	}
	return int(math.Round(mm)), nil
}

// TenthsC converts a temperature to tenths of a degree Celsius; C = (F-32)·5/9 (NIST SP 811).
func (m Measure) TenthsC() (int, error) {
	var c float64
	switch m.Unit {
	case "C":
		c = m.Value
	case "F":
		c = (m.Value - 32) * 5 / 9
	default:
		return 0, fmt.Errorf("has the unit %q; accepted: C, F", m.Unit)
	}
	const rounding = 1e-9 // 30.2 F is -1 C exactly, but not in binary
	if !(c >= -1-rounding && c <= 35+rounding) {
		return 0, fmt.Errorf("is %s; accepted: water from -1 to 35 degrees C", m)
	}
	return int(math.Round(c * 10)), nil
}

// longest is the greatest length accepted of a group of species, in millimetres: above what is known of them, so that
// no record is lost. Values from memory, but for trout (140 cm reported).
var longest = []struct {
	prefix string
	mm     int
}{
	{"Salmo salar", 1550},
	{"Salmo ", 1450},
	{"Oncorhynchus mykiss", 1250},
	{"Oncorhynchus ", 1600},
	{"Salvelinus fontinalis", 900},
	{"Salvelinus namaycush", 1550},
	{"Salvelinus ", 1100},
	{"Thymallus arcticus", 800},
	{"Thymallus ", 650},
	{"Coregonus ", 750},
	{"Prosopium ", 750},
	{"Perca ", 650},
	{"Leuciscus ", 850},
	{"Squalius ", 850},
	{"Rutilus ", 850},
	{"Barbus ", 1250},
	{"Cyprinus ", 1300},
	{"Esox ", 1550},
	{"Micropterus ", 1000},
	{"Scomber ", 1100},
	{"Dicentrarchus ", 1100},
}

// Longest returns the greatest length in millimetres accepted of a species.
func Longest(species string) int {
	for _, group := range longest {
		if strings.HasPrefix(species+" ", group.prefix) {
			return group.mm
		}
	}
	return 3000
}
