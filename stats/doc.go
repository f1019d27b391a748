// Package stats is a short textbook: the methods behind a pooled result, each
// chapter a package that takes values and returns values.
//
// Chapters: num (numerical steps that several methods share), exact (binomial
// and conditional tests, stratified tables), meta (one estimate per angler
// combined), glmm (all catches in one mixed model).
//
// Notation. θ is the pattern effect on the logit of "test taken", β the position
// effect for c = +1 (test pattern lower) and -1 (test pattern upper), u and v the
// angler's departures from them, w the outing's; τ² and σ² are variances, τ and
// σ standard deviations. A share is expit(θ).
//
// Errors. What data can cause is a sentinel error of the package, wrapped with
// the values at fault; a panic means that a caller broke a documented
// precondition. No exported function returns NaN or an infinity as an answer
// unless its documentation names the argument that gives it.
//
// Limitations. exact takes one odds ratio for all strata and counts fish as
// independent; it has no mid-p and no limits that go with the minimum-likelihood
// p-value. meta takes each estimate's variance as known and has no regression on
// covariates; where many anglers needed the half correction its estimate drifts
// towards 0, and the mixed model is the method to read. glmm estimates its SDs by
// maximum likelihood: with K anglers they are too small by a factor of about
// √(1-1/K), and where one angler has nearly all fish an SD of 0 can be the highest
// point although anglers differ, with an interval far too narrow.
package stats
