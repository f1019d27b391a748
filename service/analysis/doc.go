// Package analysis turns the tallies of a trial, or of a catch table, into one pooled result: counts, the share that
// took the test pattern, the position effect, the mixed model over anglers, the combination of the anglers' own
// answers, the exact methods for sparse data, and a verdict in plain words with its limits and warnings.
//
// The model is logit P(test taken) = (θ + u) + (β + v)·c + w, with c = +1 where the test pattern was the lower fly and
// -1 where it was the upper one; u and v vary between anglers, w between outings. Every log_odds here is θ and every
// position_log_odds β on that scale; the odds ratio of the 2x2 table of arrangement by position taken is exp(2θ).
//
// Run does no input or output and reads no clock. What cannot be estimated is null in the result and has a warning
// that says why: no NaN and no infinity ever stands in a Result.
package analysis
