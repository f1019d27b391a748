// Package stats is a short textbook: the methods behind a pooled result, each
// chapter a package that takes values and returns values.
//
// Chapters.
//   - num: numerical steps and distributions that several methods share.
//   - exact: binomial and conditional tests, stratified tables, catch rates, tables
//     of more rows, and the test by the draw itself.
//   - meta: one estimate per angler combined; regression of estimates on columns;
//     sparse tables pooled exactly.
//   - glmm: all catches in one mixed model, binomial, or of counts per hour.
//   - ranking: three or more patterns fished two at a time.
//   - multiplicity: p-values adjusted for several questions.
//   - sequential: planned looks: boundaries, monitoring, results that allow for them.
//   - evalue: evidence that may be looked at at any time.
//   - power: how many fish, how many anglers.
//   - simulate: a random experiment many times; calibration: how the methods' limits
//     do over many simulated trials (the results stand in CALIBRATION.md).
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
// Limitations.
//   - exact takes one odds ratio for all strata and counts fish as independent; it
//     has no mid-p and no limits that go with the minimum-likelihood p-value. The
//     randomisation test uses no model of the fish, but not for a lasting effect of
//     one half on the next; its null is no effect for any fish. Exact rates take fish
//     as Poisson: fish in clusters make p too small and limits too narrow. Firth's
//     estimate is pulled towards an even share and must be labelled so.
//   - meta takes each estimate's variance as known; where many anglers needed the
//     half correction its estimate drifts towards 0, and the mixed model is the
//     method to read. Its exact pooling adds no halves, but takes an angler's
//     margins to say nothing about his effect: where anglers differ and the position
//     effect is strong it ends beyond the truth.
//   - glmm estimates its SDs by maximum likelihood: with K anglers they are too small
//     by a factor of about √(1-1/K), and where one angler has nearly all fish an SD
//     of 0 can be the highest point although anglers differ. Wald limits are far too
//     narrow there; calibration gives the profile's a level that holds.
//   - ranking has one strength per pattern and, between anglers, one contrast and the
//     position.
//   - sequential takes successive estimates as normal with independent increments of
//     information; with few anglers the information is rough and may fall, and then a
//     look decides nothing.
//   - evalue tests no effect for any angler, never the mean of anglers; its two-stream
//     and conditional evidence and the confidence sequence assume no effect of order
//     within blocks, and the sequence one θ for all. The design-based evidence loses
//     much under permuted groups; a coin per block loses nothing.
package stats
