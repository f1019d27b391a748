// Package evalue weighs the evidence of a running trial so that it may be looked at
// after any block and the trial be stopped for any reason.
//
// # Model
//
// An e-value is the worth of a fair bet against the hypothesis: 0 or more, with a mean
// of at most 1 if the hypothesis holds, however the trial is stopped. The chance that it
// ever reaches 1/α is then at most α (Ville 1939, Étude critique de la notion de
// collectif). Evidence from independent anglers multiplies, and so does that of one
// block after another (Vovk & Wang 2021, Annals of Statistics 49:1736).
//
// # Notation
//
// A block has two halves: in a (c = +1) the test pattern is lower, in b (c = -1) the
// control. y of n fish took the lower fly. λ = ln OR = 2θ. E is kept as its logarithm,
// [LogE].
//
// # Methods
//
//   - [DesignBased], the default: bets on the draw alone, so that no effect of order,
//     drift or clumped catches can fool it.
//   - [TwoStream]: two chances estimated from the angler's earlier blocks.
//   - [Conditional]: given how many took lower in each block, a mixture over ln OR; with
//     it a confidence sequence for a share common to all blocks.
//
// [TwoStream] and [Conditional] are fooled by an effect of order within blocks. Where the
// logits of the two halves lay 0.5, 1 and 1.5 to either side of their mean, in an order
// settled by coin, the conditional evidence reached 20 in 6, 26 and 49 of 100 trials of 40
// blocks of 4 + 4 fish without any effect, and the two streams' in 4, 15 and 27, where the
// bound is 5; the design-based in 3 to 4. [CheckOrder] goes beside them.
//
// The design-based evidence costs power: with a share of .60, 6 anglers and 8 blocks of 4 + 4
// fish each it reached 20 in 71 of 100 trials drawn by coin, in 50 drawn in groups of 2 or
// 4 and in 39 drawn in pairs (the conditional in about 75).
//
// # What is tested
//
// All three test "no effect for any angler". Where anglers truly differ that is false,
// even if the effect averages to nothing; a statement about the mean of anglers needs
// planned looks. The confidence sequence takes one θ for all blocks as given.
//
// Only whole blocks enter, finished by the rule: a block that ended with the outing may
// have been cut short by how the fish were biting. Blocks without a fish in one half, or
// in which every fish or none took lower, change nothing.
//
// Files: evidence.go (e-values), design.go and chance.go, twostream.go, conditional.go,
// sequence.go (confidence sequence), order.go, methods.go (what each tests and assumes).
package evalue
