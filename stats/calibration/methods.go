package calibration

import (
	"context"
	"math"

	"evenrig/stats/exact"
	"evenrig/stats/glmm"
	"evenrig/stats/meta"
	"evenrig/stats/num"
)

// Method is one way of getting an interval for θ from a trial's counts.
type Method struct {
	Name string // as in tables: lower case, stable
	Does string // what it does, for people
	from func(*fits) interval
}

// Points is the number of quadrature points per dimension of the mixed model in
// simulations: the joint Laplace approximation.
const Points = 1

// Methods returns the methods that are fast enough for every cell.
func Methods() []Method {
	methods := []Method{
		{"exact_stratified", "exact conditional limits over anglers, central", (*fits).exactStratified},
		{"pooled_wald", "one table of all fish, normal limits", (*fits).pooledWald},
		{"mantel_haenszel", "Mantel-Haenszel over anglers, Robins-Breslow-Greenland limits", (*fits).mantelHaenszel},
		{"mixed_z", "mixed model, normal limits", func(f *fits) interval { return f.mixedWald(0) }},
		{"mixed_t", "mixed model, t on K-1", func(f *fits) interval { return f.mixedWald(f.k() - 1) }},
		{"profile", "mixed model, profile limits by χ²", func(f *fits) interval { return f.profile(level) }},
		{"profile_t", "mixed model, profile limits, squared quantile of t on K-1 in place of χ²", func(f *fits) interval { return f.profile(squaredT(f.k() - 1)) }},
		{"mixed_t_else_exact", "mixed_t; exact_stratified where the model is refused", func(f *fits) interval { return f.elseExact(f.mixedWald(f.k() - 1)) }},
		{"profile_K_else_exact", "profile limits for K anglers; exact_stratified where the model is refused", func(f *fits) interval { return f.elseExact(f.profileFor(f.k())) }},
		{"profile_m_else_exact", "profile limits for the effective number of anglers; exact_stratified where the model is refused", func(f *fits) interval { return f.elseExact(f.profileFor(f.effective())) }},
	}
	for _, estimator := range []meta.Estimator{meta.REML, meta.DL, meta.PM} {
		for _, adjustment := range []meta.Adjustment{meta.None, meta.HK, meta.ModifiedHK} {
			methods = append(methods, Method{
				"two_stage_" + string(estimator) + "_" + string(adjustment),
				"anglers' own estimates combined: τ² by " + string(estimator) + ", adjustment " + string(adjustment),
				func(f *fits) interval { return f.twoStage(estimator, adjustment) },
			})
		}
	}
	return methods
}

// Refits is the number of refits of the parametric bootstrap.
const Refits = 399

// SlowMethods returns the methods that are too slow for every cell, and those of Methods
// that they are compared with.
func SlowMethods() []Method {
	methods := []Method{
		{"bootstrap_t", "mixed model, symmetric bootstrap-t, 399 refits to counts drawn from the fit", (*fits).bootstrapT},
		{"bootstrap_t_else_exact", "bootstrap_t; exact_stratified where the model is refused", func(f *fits) interval { return f.elseExact(f.bootstrapT()) }},
		{"conditional_t", "conditional mixed model, t on its anglers less one", func(f *fits) interval { return f.conditional().wald }},
		{"conditional_profile", "conditional mixed model, profile limits by χ²", func(f *fits) interval { return f.conditional().profile }},
	}
	for _, m := range Methods() {
		if m.Name == "mixed_t" || m.Name == "profile_m_else_exact" {
			methods = append(methods, m)
		}
	}
	return methods
}

// fits is one trial with what several methods share.
type fits struct {
	sample
	mixed   *glmm.TrialResult    // nil where it was refused
	limits  map[float64]interval // of profiles, by level
	effects []meta.Effect        // of the anglers with fish in both arrangements
	refits  func() (*glmm.Bootstrap, error)
	pooled  *conditional
	drawn   *interval // by the bootstrap
}

func newFits(ctx context.Context, s sample) *fits {
	f := &fits{sample: s, limits: map[float64]interval{}}
	if fit, err := glmm.FitTrial(s.cells, glmm.Options{Vary: s.vary, Points: Points}); err == nil {
		f.mixed = fit
		f.refits = func() (*glmm.Bootstrap, error) { return fit.ParametricBootstrap(ctx, Refits, s.seed, 1) }
	}
	for _, t := range s.tables {
		if effect, _, err := meta.AnglerEffect(t); err == nil {
			f.effects = append(f.effects, effect)
		}
	}
	return f
}

func (f *fits) exactStratified() interval {
	c, err := exact.ConditionalTest(f.tables, level)
	if err != nil {
		return interval{}
	}
	return interval{true, theta(c.Estimate), theta(c.Low), theta(c.High)}
}

func (f *fits) pooledWald() interval {
	var all exact.Table
	for _, t := range f.tables {
		all.A, all.B, all.C, all.D = all.A+t.A, all.B+t.B, all.C+t.C, all.D+t.D
	}
	w, err := exact.Woolf(all, level)
	if err != nil {
		return interval{}
	}
	return interval{true, w.Theta, w.Low, w.High}
}

func (f *fits) mantelHaenszel() interval {
	m, err := exact.MantelHaenszel(f.tables, level)
	if err != nil {
		return interval{}
	}
	return interval{true, m.LogOR / 2, m.Low / 2, m.High / 2}
}

func (f *fits) mixedWald(df float64) interval {
	if f.mixed == nil {
		return interval{}
	}
	return around(f.mixed.Theta, student(df)*f.mixed.ThetaSE)
}

// k is the number of anglers.
func (f *fits) k() float64 { return float64(len(f.tables)) }

// effective is the effective number of anglers.
func (f *fits) effective() float64 {
	fish := make([]int64, len(f.tables))
	for i, t := range f.tables {
		fish[i] = t.Total()
	}
	return EffectiveAnglers(fish)
}

// profileFor is the profile interval for m anglers.
func (f *fits) profileFor(m float64) interval {
	adjusted, err := ProfileLevel(m, level)
	if err != nil {
		return interval{}
	}
	return f.profile(adjusted)
}

// profile is the profile interval by χ² at the given level. A limit that does not exist is
// infinite.
func (f *fits) profile(level float64) interval {
	if f.mixed == nil {
		return interval{}
	}
	if known, ok := f.limits[level]; ok {
		return known
	}
	i := interval{true, f.mixed.Theta, math.Inf(-1), math.Inf(1)}
	switch limits, err := f.mixed.ProfileTheta(level); {
	case err != nil:
		i = interval{}
	default:
		if limits.Low != nil {
			i.low = *limits.Low
		}
		if limits.High != nil {
			i.high = *limits.High
		}
	}
	f.limits[level] = i
	return i
}

// bootstrapT is the symmetric bootstrap-t interval of the mixed model.
func (f *fits) bootstrapT() interval {
	if f.mixed == nil {
		return interval{}
	}
	if f.drawn != nil {
		return *f.drawn
	}
	f.drawn = new(interval)
	if b, err := f.refits(); err == nil {
		if limits, err := b.Limits(level); err == nil && limits.Low != nil {
			*f.drawn = interval{true, f.mixed.Theta, *limits.Low, *limits.High}
		}
	}
	return *f.drawn
}

// conditional holds the two intervals of the conditional mixed model.
type conditional struct{ wald, profile interval }

func (f *fits) conditional() conditional {
	if f.pooled != nil {
		return *f.pooled
	}
	f.pooled = new(conditional)
	row, err := meta.ConditionalPool(f.tables, level)
	if err != nil {
		return *f.pooled
	}
	f.pooled.wald = interval{true, row.Theta, row.Low, row.High}
	f.pooled.profile = interval{true, row.Theta, math.Inf(-1), math.Inf(1)}
	if row.HasProfileLow {
		f.pooled.profile.low = row.ProfileLow
	}
	if row.HasProfileHigh {
		f.pooled.profile.high = row.ProfileHigh
	}
	return *f.pooled
}

// squaredT is the level at which the χ² quantile is the square of Student's.
func squaredT(df float64) float64 {
	return 1 - num.NormalTwoSided(student(df))
}

// elseExact is the interval, or the exact one where there is none.
func (f *fits) elseExact(i interval) interval {
	if i.fitted {
		return i
	}
	return f.exactStratified()
}

func (f *fits) twoStage(estimator meta.Estimator, adjustment meta.Adjustment) interval {
	row, err := meta.Pool(f.effects, estimator, adjustment, level)
	if err != nil || math.IsNaN(row.StdErr) {
		return interval{}
	}
	return interval{true, row.Mu, row.Low, row.High}
}
