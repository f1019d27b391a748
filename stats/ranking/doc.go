// Package ranking compares three or more patterns that were fished two at a time,
// not every pair of them equally often, perhaps some never.
//
// # Model
//
// Of a rig with pattern i at the lower position and j at the upper one, a fish takes
// the lower fly with
//
//	logit P = a_i - a_j + β,
//
// a the patterns' strengths, β the position effect. Only differences of strengths
// mean anything: the control's is put at 0, so that a_i is the log odds that a fish
// takes i rather than the control, with the position effect taken out of it. With
// two patterns this is the model of a paired trial, a_i its θ. With angler k's own
// departures it is
//
//	logit P = a_i - a_j + u_k·(1[j is the control] - 1[i is the control]) + β + v_k,
//
// u and v independent normal: anglers differ in how they see the control against all
// other patterns, and in the position effect. In a pair without the control they
// differ in position only. One contrast per angler is what two-at-a-time data of a
// club can carry; one per pattern would need every angler to fish every pair.
//
// The model has one strength per pattern, so it cannot say that A beats B, B beats C
// and C beats A. [Result.DevianceP] is the check of that.
//
// # Sections
//
// comparison.go (counts and their checks), existence.go (whether finite estimates
// exist), fit.go (maximum likelihood), anglers.go (with anglers' departures),
// contrast.go (differences with limits and p-values).
//
// # Sources
//
// Bradley & Terry (1952), Biometrika 39:324-345; the order effect: Davidson & Beaver
// (1977), Biometrics 33:693-702; existence of estimates: Ford (1957), American
// Mathematical Monthly 64(8):28-33, part II.
//
// # When it fails
//
// Fish are taken as independent given their pair, in [Fit]; where anglers differ its
// limits are too narrow, and [FitAnglers] is the one to read. Patterns that were not
// fished together, even through others, or one that never lost a fish to some group,
// have no finite strength; the error names the parts. Patterns come back in the order
// given, never by strength, and nothing here orders anglers.
//
// No function returns NaN; inputs are never modified; all may be called concurrently.
package ranking
