// Package analysis turns the tallies of a trial, or of a catch table, into one pooled result: counts, the share that
// took the test pattern, the position effect, the mixed model over anglers, the combination of the anglers' own
// answers, the exact methods for sparse data, and a verdict in plain words with its limits and warnings.
//
// The model is logit P(test taken) = (θ + u) + (β + v)·c + w, with c = +1 where the test pattern was the lower fly and
// -1 where it was the upper one; u and v vary between anglers, w between outings. Every log_odds here is θ and every
// position_log_odds β on that scale; the odds ratio of the 2x2 table of arrangement by position taken is exp(2θ).
//
// # In the order in which [Run] goes
//
// Count: input.go, fingerprint.go, dataset.go. Methods: pooled.go, mixed.go with profile.go, combined.go. Answer:
// headline.go, the only place where it is decided which method speaks; looks.go and evidence.go for trials that are
// looked at while they run; verdict.go, more.go. Beside the answer: combined_beside.go; redraw.go and allocated.go,
// which rest on the draw; sensitivity.go, which asks again.go of other fish; tipping.go; and secondary.go with order.go,
// drift.go, subgroups.go and position.go: the mixed model with further columns.
//
// # What needs what
//
// A catch table with any two of pattern, position and arrangement fills everything down to the combination. Blocks and
// periods add the order effect and, with one angler, strata; outings their term in the mixed model; dates drift, months
// and the path of the evidence; recorded columns the subgroups. Only a trial drawn here has the randomisation test, the
// answer as allocated, and the cases without late fish, late-opened outings, unfinished blocks and deviations.
//
// Run does no input or output and reads no clock. What cannot be estimated is null in the result and has a warning
// that says why: no NaN and no infinity ever stands in a Result.
package analysis
