package evalue

// Method names a way of weighing the evidence.
type Method string

// The methods. DesignBased is the one to decide by.
const (
	MethodDesignBased Method = "design_based"
	MethodTwoStream   Method = "two_stream"
	MethodConditional Method = "conditional"
	MethodSequence    Method = "confidence_sequence" // the limits of [Conditional.Limits]
)

// Hypothesis is what a method tests, or what its limits are about.
type Hypothesis string

// The hypotheses.
const (
	// NoEffectForAnyone: the patterns are equal for every angler. Where anglers truly
	// differ it is false even if their mean effect is 0, and evidence against it says
	// nothing about the mean.
	NoEffectForAnyone Hypothesis = "no_effect_for_any_angler"
	// CommonEffect: one θ holds for every block of every angler.
	CommonEffect Hypothesis = "effect_common_to_all_blocks"
)

// Assumption is what a method needs beyond the draw.
type Assumption string

// The assumptions.
const (
	NoOrderEffect    Assumption = "no_order_effect_within_blocks"
	NoCarryOver      Assumption = "no_carry_over_between_halves"
	HalvesByRule     Assumption = "fish_per_half_settled_by_rule"
	IndependentFish  Assumption = "fish_independent_within_a_half"
	OrdersUnforeseen Assumption = "later_orders_unknown_to_who_fishes"
)

// Tests returns the hypothesis that the method's evidence is against, or that its limits
// take as given.
func (m Method) Tests() Hypothesis {
	if m == MethodSequence {
		return CommonEffect
	}
	return NoEffectForAnyone
}

// Assumes returns what the method needs.
func (m Method) Assumes() []Assumption {
	if m == MethodDesignBased {
		return []Assumption{NoCarryOver, OrdersUnforeseen}
	}
	return []Assumption{NoCarryOver, HalvesByRule, IndependentFish, NoOrderEffect}
}
