package glmm

// addGradient adds the derivative of the current group's log-likelihood, at its mode, to gradient. The
// states hold means over the points: with one point those at the mode, which makes it the
// derivative of the Laplace approximation.
//
// It works in reverse. The log-likelihood depends on the parameters through each row's
// residual at the points, through the mode, and through H, which scales the points; H in
// turn through W, thus through the mode. So first come the derivatives with respect to M, the
// mode and H ("of", from Σ over points of ∇f), then those with respect to each row's W;
// then one solution of H·k = s stands for the move of the mode, because ∇f = 0 there:
// db = H⁻¹·∂(∇f).
func (e *evaluator) addGradient(ps params, m scaling, t moments, gradient []float64) {
	b1, b2 := e.effects()

	// The means of ∇f (s), and of ∇f·tᵀ (n), with respect to b.
	s1 := -(b1 + m.m11*t.t1 + m.m12*t.t2)
	s2 := -(b2 + m.m22*t.t2)
	n11 := -(b1*t.t1 + m.m11*t.t11 + m.m12*t.t12)
	n12 := -(b1*t.t2 + m.m11*t.t12 + m.m12*t.t22)
	n22 := -(b2*t.t2 + m.m22*t.t22)
	for k := range e.row {
		row := &e.row[k]
		s1 += row.a1 * row.mean
		s2 += row.a2 * row.mean
		n11 += row.a1 * row.meanT1
		n12 += row.a1 * row.meanT2
		n22 += row.a2 * row.meanT2
	}
	f11, f12, f22 := e.followersGradient(ps, m, t)
	n11, n12, n22 = n11+f11, n12+f12, n22+f22
	// dM = -M·dCᵀ·M, so the derivative with respect to C is the lower triangle of -M·nᵀ·M,
	// and -1/C on the diagonal for the determinant; then back through the factor to S.
	p11, p21, p22 := m.m11*n11+m.m12*n12, m.m22*n12, m.m22*n22 // M·nᵀ
	dc11 := -p11*m.m11 - m.m11
	dc21 := -p21 * m.m11
	dc22 := -(p21*m.m12 + p22*m.m22) - m.m22
	a22 := dc22 / (2 * m.c22)
	dc21 -= dc22 * m.c21 / m.c22
	a12 := dc21 / m.c11 / 2
	dc11 -= dc21 * m.c21 / m.c11
	a11 := dc11 / (2 * m.c11)

	ofCurvature := func(row *rowState, ofWeight float64) {
		row.ofWeight = ofWeight + a11*row.a1*row.a1 + 2*a12*row.a1*row.a2 + a22*row.a2*row.a2
		row.curvature = row.skew * row.ofWeight
		s1 += row.curvature * row.a1
		s2 += row.curvature * row.a2
	}
	for k := range e.sub {
		sub, rows := &e.sub[k], e.rowsOf(k)
		sub.fromSchur(a11, a12, a22)
		for r := range rows {
			row := &rows[r]
			ofCurvature(row, ps.lw*(sub.ofHd1*row.a1+sub.ofHd2*row.a2+ps.lw*sub.ofHdd))
			sub.gradient += row.curvature * ps.lw
		}
	}
	if len(e.sub) == 0 {
		for k := range e.row {
			ofCurvature(&e.row[k], 0)
		}
	}
	k1, k2, _, _ := e.newtonStep(s1, s2)

	w := e.problem.width
	u, v, corr := gradient[w+atPattern], gradient[w+atPosition], gradient[w+atCorrelation]
	addRow := func(k int, step float64, sub *subState) {
		row, c := &e.row[k], &e.cells[k]
		moved := row.a1*k1 + row.a2*k2 + step
		of := row.mean + row.curvature - row.weight*moved
		at := (e.from + k) * w
		for j, x := range e.problem.x[at : at+w] {
			gradient[j] += of * x
		}
		of1 := b1*of + m.m11*row.meanT1 + m.m12*row.meanT2 + 2*row.weight*(a11*row.a1+a12*row.a2) + row.residual*k1
		of2 := b2*of + m.m22*row.meanT2 + 2*row.weight*(a12*row.a1+a22*row.a2) + row.residual*k2
		if sub != nil {
			of1 += row.weight * ps.lw * sub.ofHd1
			of2 += row.weight * ps.lw * sub.ofHd2
		}
		u += c.zu * of1
		corr += c.zv * of1
		v += c.zv * of2
		if ps.alpha > 0 {
			residual, weight := dispersionSlopes(c, row.odds, ps.alpha)
			gradient[w+atDispersion] += ps.deltaSlope * (row.meanSlope + row.ofWeight*weight + moved*residual)
		}
	}
	for s := range e.sub {
		sub, span := &e.sub[s], e.spans[s]
		for k := span.from - e.from; k < span.to-e.from; k++ {
			addRow(k, ps.lw*sub.step, sub)
			row := &e.row[k]
			of := row.mean + row.curvature - row.weight*(row.a1*k1+row.a2*k2+ps.lw*sub.step)
			gradient[w+atOuting] += e.w[s]*of + sub.scale*row.meanTau +
				sub.slope1*(m.m11*row.meanT1+m.m12*row.meanT2) + sub.slope2*m.m22*row.meanT2 +
				row.weight*(sub.ofHd1*row.a1+sub.ofHd2*row.a2+2*ps.lw*sub.ofHdd) + row.residual*sub.step
		}
	}
	if len(e.sub) == 0 {
		for k := range e.row {
			addRow(k, 0, nil)
		}
	}
	gradient[w+atPattern], gradient[w+atPosition], gradient[w+atCorrelation] = u, v, corr
}

// followersGradient fills, for each subgroup, the derivative with respect to the mode of
// its w (gradient) and to the slope and scale by which its points follow b (ofSlope,
// ofScale). It returns what they add to n, since they move with M·t.
func (e *evaluator) followersGradient(ps params, m scaling, t moments) (n11, n12, n22 float64) {
	for k := range e.sub {
		sub, rows := &e.sub[k], e.rowsOf(k)
		// The mean of d, and of its products with t and τ; then of ∇f likewise.
		d := e.w[k]
		along1, along2 := sub.slope1*m.m11, sub.slope1*m.m12+sub.slope2*m.m22 // of t1 and t2
		g0 := -(d + along1*t.t1 + along2*t.t2 + sub.scale*sub.tau)
		g1 := -(d*t.t1 + along1*t.t11 + along2*t.t12 + sub.scale*sub.tau1)
		g2 := -(d*t.t2 + along1*t.t12 + along2*t.t22 + sub.scale*sub.tau2)
		gTau := -(d*sub.tau + along1*sub.tau1 + along2*sub.tau2 + sub.scale*sub.tauTau)
		for r := range rows {
			row := &rows[r]
			g0 += ps.lw * row.mean
			g1 += ps.lw * row.meanT1
			g2 += ps.lw * row.meanT2
			gTau += ps.lw * row.meanTau
		}
		sub.gradient = g0
		sub.ofSlope1, sub.ofSlope2 = m.m11*g1+m.m12*g2, m.m22*g2
		sub.ofScale = gTau
		n11 += sub.slope1 * g1
		n12 += sub.slope1 * g2
		n22 += sub.slope2 * g2
	}
	return n11, n12, n22
}

// fromSchur takes derivatives with respect to S (a), the slope, the scale and -½·ln hdd
// back to the subgroup's part of H, by S = Hbb - hd·hdᵀ/hdd, slope = -hd/hdd, scale =
// 1/√hdd.
func (s *subState) fromSchur(a11, a12, a22 float64) {
	as1, as2 := a11*s.slope1+a12*s.slope2, a12*s.slope1+a22*s.slope2
	s.ofHd1 = 2*as1 - s.ofSlope1/s.hdd
	s.ofHd2 = 2*as2 - s.ofSlope2/s.hdd
	s.ofHdd = s.slope1*as1 + s.slope2*as2 - (s.ofSlope1*s.slope1+s.ofSlope2*s.slope2+s.ofScale*s.scale/2+.5)/s.hdd
}
