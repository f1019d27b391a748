package sequential

import (
	"math"

	"evenrig/stats/num"
)

// Spending is a shape of boundaries: how α is spread over the looks.
type Spending int

// The two shapes. As spending functions they are those of Lan and DeMets (1983); as
// classic boundaries those of O'Brien and Fleming (1979) and of Pocock (1977).
const (
	OBrienFleming Spending = iota // very strict early: little is lost for the last look
	Pocock                        // about as strict at every look
)

func (s Spending) String() string {
	switch s {
	case OBrienFleming:
		return "O'Brien-Fleming"
	case Pocock:
		return "Pocock"
	}
	return "unknown"
}

// Spent returns the two-sided α spent by information fraction t:
//
//	O'Brien-Fleming type  4[1 - Φ(z(1-α/4)/√t)]
//	Pocock type           α·ln(1 + (e-1)t)
//
// that is twice the one-sided function at α/2. It is 0 for t <= 0 and α for t >= 1.
// alpha lies above 0 and below 1. Putting the two-sided α into the one-sided
// O'Brien-Fleming formula, 2[1 - Φ(z(1-α/2)/√t)], is another, less strict function:
// 4.38 instead of 4.88 at the first of five equal looks.
//
// Source: Lan & DeMets (1983), Biometrika 70:659-663; DeMets & Lan (1994), Statistics
// in Medicine 13:1341-1352.
func (s Spending) Spent(t, alpha float64) float64 {
	switch {
	case t <= 0:
		return 0
	case t >= 1:
		return alpha
	case s == Pocock:
		return alpha * math.Log1p((math.E-1)*t)
	}
	return 2 * num.NormalTwoSided(num.NormalQuantile(alpha/4)/math.Sqrt(t))
}
