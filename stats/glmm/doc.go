// Package glmm fits the binomial mixed model of a paired trial,
//
//	logit P(test taken) = (θ + u_a) + (β + v_a)·c + w_o,
//
// for a fish caught by angler a on outing o in an arrangement c (+1: test
// pattern lower, -1: control pattern lower), with u ~ N(0, sd_pattern²),
// v ~ N(0, sd_position²) and w ~ N(0, sd_outing²) independent of each other.
// θ is the pattern effect, β the position effect, both in log odds.
//
// [FitTrial] is the front door for a trial. [Fit] is the same model with any
// fixed-effect columns and any loadings of the two angler effects.
//
// # Method
//
// The random effects of an angler are written u = λ·b with b standard normal,
// so an SD is |λ|, λ is free to pass through 0, and an SD of 0 is an ordinary
// stationary point. The log-likelihood integrates the b's out: with one point
// by the joint Laplace approximation (one mode over all of an angler's u, v
// and w's), with more points by adaptive Gauss-Hermite quadrature centred and
// scaled at that mode (Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4:12;
// Liu & Pierce 1994, Biometrika 81:624). Gradients are exact, through the mode
// by implicit differentiation. The likelihood can have several maxima; every choice
// of SDs held at 0 is searched, so that no fit is lower than one with fewer terms. Standard errors come from the observed
// information of all parameters jointly.
//
// # Notation
//
// In code as in the formulas: y of n fish took the test pattern, η is the
// linear predictor, μ = expit(η), W = n·μ·(1-μ), b the standardised random
// effects, a the loadings of a row on b, f the log of the integrand, H the
// negative Hessian of f in b.
//
// # Errors and limits
//
// Data can make a fit impossible; then the error wraps one of the Err values
// and says why, and there is no result. A result never holds a NaN or an
// infinity.
package glmm
