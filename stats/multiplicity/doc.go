// Package multiplicity adjusts p-values for having asked several questions at
// once.
//
// Model. Of m hypotheses, hypothesis i has the p-value p_i, valid on its own: if
// the hypothesis is true, P(p_i <= x) <= x. An adjusted p-value is the smallest
// level at which the procedure over all m would reject hypothesis i; it is read
// against the level like any other p-value.
//
// [Bonferroni] and [Holm] keep the chance of even one false rejection among the m
// at the level, however the p-values depend on each other. Holm's is never larger
// than Bonferroni's and so always to be preferred; Bonferroni's needs nothing but
// m, and can be worked out by hand for one question of a list.
// [BenjaminiHochberg] keeps the expected share of false rejections among all
// rejections at the level, for p-values that are independent or positively
// dependent (Benjamini & Yekutieli 2001, Annals of Statistics 29:1165-1188): for
// screens, where each finding is to be looked into again. It is not a substitute
// for Holm where one false answer does harm.
//
// Notation. p_(1) <= ... <= p_(m) are the p-values in order.
//
// When it fails. The m questions must be all that were asked: p-values left out
// because they were large make every adjusted one too small. No function here
// can see that.
//
// Results line up with the arguments, which are not modified. All functions
// are pure and may be called concurrently.
package multiplicity
