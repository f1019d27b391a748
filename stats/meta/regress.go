package meta

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"evenrig/stats/num"
)

// ErrColumns: a column of a regression that is not as long as the estimates, holds
// a value outside ±1e6, or adds nothing to the columns before it.
var ErrColumns = errors.New("a column must hold one value within ±1e6 per estimate, and differ from what the columns before it make up")

// Coefficient is one coefficient of a Regression, on the scale of the effects per
// unit of its column.
type Coefficient struct {
	Estimate, StdErr float64 // StdErr after the adjustment
	Low, High        float64
	P                float64 // two-sided, of a coefficient of 0
}

// Regression is the regression of effects on columns.
type Regression struct {
	Estimator    Estimator
	Adjustment   Adjustment
	K            int
	Coefficients []Coefficient // the intercept, then one per column, in order
	Vcov         [][]float64   // their covariance matrix, after the adjustment
	DF           int           // of the t distribution behind limits and P; 0 is the normal
	Tau2         float64       // variance between anglers that the columns leave, not an SD
	// QE is Σ(y-fitted)²/v of the fit with τ² = 0: what the columns leave beyond the
	// estimates' own error; QEP its χ² tail on QEDF = k - 1 - columns.
	QE   float64
	QEDF int
	QEP  float64
	// QM tests that all coefficients but the intercept are 0. Without adjustment it is
	// χ² on QMDF = columns, and QMDF2 is 0; with one it is F on QMDF and QMDF2. Without
	// columns it is 0, with P 1.
	QM           float64
	QMDF1, QMDF2 int
	QMP          float64
}

// Regress returns the weighted regression of effects on columns, with τ² between
// anglers estimated beside it: y_i = b₀ + Σ b_j·x_ij + u_i + e_i, u_i of variance
// τ², e_i of variance v_i. columns[j] holds x_ij for every effect i, within ±1e6;
// an intercept is always put before them. Without columns it is Pool.
//
// With p coefficients and P the matrix of sums, DL gives max(0, (QE-(k-p))/tr P at
// τ² = 0), PM the root of Σ(y-fitted)²/(v+τ²) = k-p, REML and ML the highest point
// of the (restricted) likelihood, as in Tau2. The adjustments multiply the
// covariance matrix by q = Σw(y-fitted)²/(k-p) or max(1, q), and give t on k-p and F.
//
// Errors: ErrTooFewEffects for k <= p; ErrColumns; ErrEffect; ErrLevel; ErrMethod.
// Accuracy about 10 digits where variances lie within a factor of 10^6; cost
// O(k·p²) for each of some 40 steps. Source: Berkey et al. (1995), Statistics in
// Medicine 14:395-411; Thompson & Higgins (2002), Statistics in Medicine
// 21:1559-1573; Knapp & Hartung (2003), Statistics in Medicine 22:2693-2710.
func Regress(effects []Effect, columns [][]float64, estimator Estimator, adjustment Adjustment, level float64) (Regression, error) {
	if err := checkMethod(estimator, adjustment); err != nil {
		return Regression{}, err
	}
	return regress(effects, columns, estimator, adjustment, level)
}

// regress is Regress without the rule that Common goes with no adjustment.
func regress(effects []Effect, columns [][]float64, estimator Estimator, adjustment Adjustment, level float64) (Regression, error) {
	if err := checkLevel(level); err != nil {
		return Regression{}, err
	}
	if err := checkEffects(effects, len(columns)+2); err != nil {
		return Regression{}, err
	}
	d, err := newDesign(effects, columns)
	if err != nil {
		return Regression{}, err
	}
	tau2, err := d.tau2(estimator)
	if err != nil {
		return Regression{}, err
	}
	r := Regression{Estimator: estimator, Adjustment: adjustment, K: len(effects), Tau2: tau2}
	r.QE, r.QEDF = d.solve(0).q, d.df()
	r.QEP = num.ChiSquaredTail(r.QE, float64(r.QEDF))
	factor := adjustment.factor(d.solve(tau2).q / float64(r.QEDF))
	critical := num.NormalQuantile((1 + level) / 2)
	if adjustment != None {
		r.DF = r.QEDF
		if critical, err = num.StudentQuantile((1+level)/2, float64(r.DF)); err != nil {
			return Regression{}, err
		}
	}
	r.testColumns(d, factor)
	estimates, vcov := d.coefficients()
	for i, b := range estimates {
		for j := range vcov[i] {
			vcov[i][j] *= factor
		}
		c := Coefficient{Estimate: b, StdErr: math.Sqrt(vcov[i][i])}
		c.Low, c.High = b-critical*c.StdErr, b+critical*c.StdErr
		c.P = twoSided(b, c.StdErr, r.DF)
		r.Coefficients = append(r.Coefficients, c)
	}
	r.Vcov = vcov
	return r, r.checkFinite()
}

// testColumns fills in QM: in the orthogonal columns of the solved design it is the
// sum of squares beyond the intercept.
func (r *Regression) testColumns(d *design, factor float64) {
	r.QMDF1, r.QMP = len(d.columns)-1, 1
	if r.QMDF1 == 0 {
		return
	}
	for _, projection := range d.projection[1:] {
		r.QM += projection * projection
	}
	m := float64(r.QMDF1)
	switch {
	case r.Adjustment == None:
		r.QMP = num.ChiSquaredTail(r.QM, m)
		return
	case factor > 0:
		r.QM /= m * factor
		r.QMDF2 = r.QEDF
		df2 := float64(r.QMDF2)
		r.QMP = mathext.RegIncBeta(df2/2, m/2, df2/(df2+m*r.QM)) // tail of F
	}
}

// checkFinite returns ErrColumns if weights so unequal that the columns cannot be
// told apart under them left a value that is none.
func (r *Regression) checkFinite() error {
	values := []float64{r.Tau2, r.QE, r.QEP, r.QM, r.QMP}
	for i, c := range r.Coefficients {
		values = append(append(values, c.Estimate, c.StdErr, c.Low, c.High, c.P), r.Vcov[i]...)
	}
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			*r = Regression{}
			return fmt.Errorf("under these variances the columns cannot be told apart: %w", ErrColumns)
		}
	}
	return nil
}
