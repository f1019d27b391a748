// Package calibration measures by simulation how far the methods' intervals for
// the pattern effect can be trusted, and says by a fixed rule which of them should
// speak.
//
// Aims. For each method of combining anglers: how often its 95 % interval holds
// the true effect, how wide it is, how often it calls an effect where there is
// none, and how often it gives no answer.
//
// Data. Paired trials drawn from
//
//	logit P(test taken) = (θ + u_a) + (β + v_a)·c + w_o
//
// with normal u, v, w, over a grid of cells (cell.go, grid.go, draw.go). Fish are
// caught one after another, the flies swapped after every second fish, the order
// within each block of four drawn by coin.
//
// Estimand. θ, the pattern effect of a typical angler (u = 0). Methods that combine
// the anglers' own estimates aim at the mean of θ + u over anglers, which is the
// same number because u is symmetric; methods that take fish as independent aim at
// a mean over fish, which lies nearer 0 where anglers differ.
//
// Methods. See Methods (methods.go); all at 95 %.
//
// Performance. Coverage, median width, share of intervals that exclude 0, bias,
// root mean squared error and share not fitted, each with its Monte Carlo standard
// error (performance.go). A trial that a method could not fit counts as a miss. The
// layout follows Morris, White & Crowther (2019), Statistics in Medicine
// 38:2074-2102.
//
// The rule that chooses is in rule.go.
package calibration
