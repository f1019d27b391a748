package glmm

// params are the parameters of one evaluation: fixed effects, the signed standard
// deviations of u, v, w (that of v given u if the two are correlated), the loading of v on
// u's standardised effect, and the dispersion with its derivative in δ.
type params struct {
	beta       []float64
	lu, lv, lw float64
	lc         float64
	alpha      float64
	deltaSlope float64
}

// rowState is what the likelihood keeps of one row of the current group.
type rowState struct {
	fixed    float64 // part of ζ that no effect moves
	y, n     float64
	a1, a2   float64 // loadings on b (that on a standardised w is lw)
	eta      float64 // ζ at the current effects
	k        float64 // K(ζ)
	residual float64 // y - nK'
	weight   float64 // W = nK''
	skew     float64 // dW/dζ
	odds     float64 // e^ζ, with a dispersion
	// Quadrature: a column's ζ is base + slope·node; means over the points of the residual,
	// of residual times t and times τ, and of the slope in the dispersion; and the
	// same over τ at the current b.
	base, slope                   float64
	mean, meanT1, meanT2, meanTau float64
	meanSlope                     float64
	now, nowTau, nowSlope         float64
	ofWeight                      float64 // derivative of the log-likelihood with respect to W through H
	curvature                     float64 // and through that with respect to ζ
}

// subState is the part of the arrow-shaped H of one subgroup, and what quadrature
// keeps of it.
type subState struct {
	hdd, hd1, hd2 float64 // H for w, and between w and b1, b2
	gradient      float64
	step          float64
	// How the points of w follow b, and means over the points of τ, τ·t and τ², and
	// over τ at the current b.
	slope1, slope2, scale   float64
	tau, tau1, tau2, tauTau float64
	now, nowTau             float64
	linear                  float64 // Σ y·ζ over a column, for each unit of τ
	ofSlope1, ofSlope2      float64 // derivatives of the log-likelihood
	ofScale                 float64
	ofHd1, ofHd2, ofHdd     float64
}
