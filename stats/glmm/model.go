package glmm

import "fmt"

// Vary says which effects differ between anglers, and between outings.
type Vary int

// The four models. The first random effect, u, is in each.
const (
	VaryPattern               Vary = iota + 1 // u
	VaryPatternPosition                       // u, v
	VaryPatternOuting                         // u, w
	VaryPatternPositionOuting                 // u, v, w
)

var varyNames = map[Vary]string{
	VaryPattern:               "pattern",
	VaryPatternPosition:       "pattern+position",
	VaryPatternOuting:         "pattern+outing",
	VaryPatternPositionOuting: "pattern+position+outing",
}

// ParseVary reads "pattern", "pattern+position", "pattern+outing" or
// "pattern+position+outing". Any other text is ErrInput.
func ParseVary(text string) (Vary, error) {
	for v, name := range varyNames {
		if name == text {
			return v, nil
		}
	}
	return 0, fmt.Errorf("%w: vary %q: accepted are pattern, pattern+position, pattern+outing, pattern+position+outing", ErrInput, text)
}

// String is the text ParseVary accepts; "Vary(n)" for a value that is none of the four.
func (v Vary) String() string {
	if name, ok := varyNames[v]; ok {
		return name
	}
	return fmt.Sprintf("Vary(%d)", int(v))
}

// Position reports whether the position effect varies between anglers.
func (v Vary) Position() bool { return v == VaryPatternPosition || v == VaryPatternPositionOuting }

// Outing reports whether outings differ.
func (v Vary) Outing() bool { return v == VaryPatternOuting || v == VaryPatternPositionOuting }

// Points per dimension when Options.Points is 0, without and with outings in the model.
const (
	DefaultPoints       = 15
	DefaultOutingPoints = 7
)

// MaxPoints is the largest number of quadrature points per dimension.
const MaxPoints = 200

// Options choose the model and how its likelihood is computed.
type Options struct {
	// Vary is one of the four models; the zero value is VaryPatternPosition.
	Vary Vary
	// Points per dimension: 1 is the joint Laplace approximation, 2 to MaxPoints
	// adaptive Gauss-Hermite quadrature, 0 the default.
	Points int
	// Correlated lets a group's u and v be correlated; it needs v in the model.
	Correlated bool
	// Family of the counts; the zero value is Binomial. FitTrial takes no other.
	Family Family
	// Near, unless nil, are SDs near which the maximum is expected, from a fit of nearly the same counts. If there are many groups
	// the search begins there, and ends if what it finds is settled; the result is the same but for rounding.
	Near *Spread
}

// Methods of integration, as named in results.
const (
	MethodLaplace    = "laplace"
	MethodQuadrature = "adaptive_gauss_hermite"
)

// Row is one count of the general model
//
//	link of the mean = Offset + X·coefficients + U·u_group + V·v_group + w_subgroup.
//
// Binomial or Poisson rows of one group and subgroup that are equal in X, U and V
// are added up before fitting.
type Row struct {
	Group    int       // any integer as a label
	Subgroup int       // any integer as a label, within its group; read only with outings in the model
	Y, N     int       // binomial: successes out of trials, 0 ≤ Y ≤ N, a row with N = 0 says nothing; else Y ≥ 0 alone is the count
	X        []float64 // fixed-effect columns, the same number in every row, the intercept among them
	U, V     float64   // loadings of the group's two effects; V is read only if Vary has position
	Offset   float64   // logarithm of the exposure, -50 to 50; 0 for binomial counts
}

// Result is a converged fit of the general model.
type Result struct {
	// Coef are the fixed effects in the order of Row.X, in log odds; StdErr their
	// standard errors and Vcov their covariance matrix, from the observed
	// information of all parameters jointly, the SDs (if above 0) included.
	Coef   []float64
	StdErr []float64
	Vcov   [][]float64
	// SDPattern, SDPosition, SDOuting are the standard deviations of u, v and w on the
	// scale of the link; exactly 0 if the maximum is at 0, and 0 if the model lacks the
	// term.
	SDPattern, SDPosition, SDOuting float64
	// Correlation of u and v, -1 to 1; nil unless asked for and both SDs are above 0.
	Correlation *float64
	// Dispersion α of negative binomial counts, whose variance is μ + α·μ²; exactly 0
	// if the maximum is at 0, the Poisson distribution, and 0 in other families.
	Dispersion float64
	// Singular: a standard deviation or the dispersion of the model is 0, or the
	// correlation -1 or 1.
	Singular bool
	// LogLikelihood is that of single catches (Bernoulli: no binomial coefficients), and
	// of the counts themselves in the other families.
	LogLikelihood float64
	Family        Family
	Vary          Vary
	Method        string // MethodLaplace or MethodQuadrature
	Points        int    // per dimension
	// Iterations of the search, evaluations of the log-likelihood with its gradient
	// (all starts, and those for the standard errors), and the largest absolute
	// entry of the gradient at the solution.
	Iterations, Evaluations int
	GradientNorm            float64
	// Groups holds one entry per group with N > 0, in the order of first appearance.
	Groups []GroupEffect
}

// GroupEffect is the prediction of one group's random effects.
//
// U and V are the conditional modes in log odds. UCondSD and VCondSD are their
// conditional standard deviations given the estimated parameters (inverse
// curvature at the mode, over all of the group's effects jointly); USE and VSE
// add the uncertainty of the parameters by the delta method (Kass & Steffey
// 1989, J. Am. Stat. Assoc. 84:717). All are 0 where the SD is 0 or the model lacks
// the term.
type GroupEffect struct {
	Group           int
	U, UCondSD, USE float64
	V, VCondSD, VSE float64
}
