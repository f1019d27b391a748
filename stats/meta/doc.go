// Package meta combines one estimate, or one table of counts, per angler into one
// answer for all.
//
// # Models
//
// Normal-normal. Angler i's estimate is y_i = θ_i + e_i, with e_i normal of known
// variance v_i, and θ_i normal around μ with variance τ² (between anglers; a
// variance, not an SD). With w_i = 1/(v_i + τ²),
//
//	μ = Σwy/Σw,  SE² = 1/Σw.
//
// Regression. θ_i is normal around b₀ + Σ b_j·x_ij instead of one μ.
//
// Conditional. Angler i's count of a 2x2 table is noncentral hypergeometric given
// the table's margins, with log odds ratio 2θ_i, and θ_i normal around θ with SD τ.
// Nothing is taken as known, and nothing is added to empty cells.
//
// # Sections
//
// effect.go (an angler's estimate), tau2.go (τ² by five estimators), pool.go (one
// row: estimate, limits, prediction), heterogeneity.go (Q, I², limits of τ²),
// jackknife.go (τ² without each effect in turn), influence.go (leave-one-out,
// influence, shares of information), design.go and regress.go (regression on
// columns), asymmetry.go (do imprecise estimates differ), compare.go (two estimates;
// one stage and two), conditional.go, integral.go and maximum.go (tables pooled
// exactly).
//
// # When it fails
//
// The normal-normal model takes the v_i as known, which they are not: with few fish
// per angler, or many anglers who needed the half correction, the pooled estimate
// drifts towards 0, and limits are too narrow. [ConditionalPool] and the mixed model
// of package glmm do not have that fault. Maximum-likelihood τ, of ML and of
// ConditionalPool, is too small by a factor of about √(1-1/k). With fewer than some
// ten anglers τ² is hardly known by any estimator; then only limits by t on k-1
// come near their level. A regression or a test of asymmetry over a handful of
// anglers finds whatever one of them does: look at [MeasureInfluence] first.
//
// Steps are O(k) for k anglers unless a function says otherwise. Nothing here
// returns NaN; inputs are never modified; all functions may be called concurrently.
package meta
