// Package glmm fits mixed models to counts: the binomial model of a paired trial,
//
//	logit P(test taken) = (θ + u_a) + (β + v_a)·c + w_o,
//
// for a fish caught by angler a on outing o in an arrangement c (+1: test
// pattern lower, -1: control pattern lower), with u ~ N(0, sd_pattern²),
// v ~ N(0, sd_position²) and w ~ N(0, sd_outing²), independent of each other unless
// u and v are asked to be correlated; and the model of catch per hour, with
// Poisson or negative binomial counts (RateResult). θ is the pattern effect, β the position
// effect, both in log odds.
//
// [FitTrial] is the front door for a trial, [FitRates] that for catch per hour. [Fit] is
// the same model with any fixed-effect columns, any loadings of the two angler effects
// and any offset.
//
// # Integration
//
// The random effects of an angler are written u = λ·b with b standard normal,
// so an SD is |λ|, λ is free to pass through 0, and an SD of 0 is an ordinary
// stationary point; correlated effects are u = λ₁·b₁, v = λ₂₁·b₁ + λ₂·b₂, the Cholesky
// factor of their covariance, without bounds. The log-likelihood integrates the b's out
// by adaptive Gauss-Hermite quadrature, its points centred and scaled at the mode of
// all of an angler's effects jointly (Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4:12;
// Liu & Pierce 1994, Biometrika 81:624). One point is the joint Laplace approximation.
//
// Outings take part in the rule: it is the tensor rule over u, v and every w of
// the angler. Since the outings are independent given u and v, the sum over its points
// is, at each point of (u, v), a product of one sum per outing, each with a centre and a
// scale of its own: the cost is linear in outings, for any number of points. Given (u, v), the
// centre moves along the linear prediction from the joint mode, and the scale stays: so
// the mode and its Hessian are all that gradients must follow.
//
// Gradients are exact: in reverse through points, Hessian and mode, the last by
// implicit differentiation.
//
// # How many points
//
// Without outings the default is 15 points: the estimates of ordinary trials are then exact to
// 1e-8 standard errors, and clusters of a few fish with a wide SD to 1e-4. With outings it is
// 7, where θ is within 1e-4 standard errors in ordinary trials (8 to 12 anglers, 3 to 5
// outings of 2 to 8 fish, SDs to 1) and within 3e-3 with SDs of 1.5 and 4 fish an outing, as
// compared with 21 points; Laplace is off by .02 to .09 standard errors there, and
// sd_outing by .05 to .25. The cost grows with the cube: 7 points take six times 7 × 7 points
// on as many cells, 15 sixty times.
//
// # Maximisation
//
// The likelihood can have several maxima: every choice of SDs held at 0 is searched, and
// both signs and both ends of a correlation, so that no fit is lower than one with
// fewer terms. A search is quasi-Newton (BFGS), first by Laplace, and is given up when it
// cannot reach the best of the others. Newton steps end it. An SD estimated at 0 stays in
// the model as exactly 0, a correlation at its end as exactly ±1; Singular says so.
// Standard errors come from the observed information of all parameters jointly, without those
// held at 0, for which they would mean nothing.
//
// # Inference
//
// Wald limits ([Wald]); likelihood-root limits of θ and of each SD (ProfileTheta, ProfileSD);
// the test of an SD at the edge of what is possible by mixtures of chi-squares
// (BoundaryTest: Self & Liang 1987); and by refits to simulated counts
// limits and p-value of θ (ParametricBootstrap) and the p-value of an SD
// (BootstrapBoundary), the same for any number of workers.
//
// # Notation
//
// In code as in the formulas: y of n fish took the test pattern, η is the
// linear predictor, μ = expit(η), W = n·μ·(1-μ), b the standardised random
// effects, a the loadings of a row on b, f the log of the integrand, H the
// negative Hessian of f in b. ζ is η with what offset and dispersion add, K the
// function for which a row's log-likelihood is y·ζ - n·K(ζ); t stands for points of b and τ
// for points of a w.
//
// # Errors and limits
//
// Data can make a fit impossible; then the error wraps one of the Err values
// and says why, and there is no result. A result never holds a NaN or an
// infinity.
//
// SDs are estimated by maximum likelihood, too small by a factor of about √(1-1/K) with K
// anglers; Wald limits with t on K-1 make up for some of it, profile limits and the mixtures'
// p-values do not. Where one angler has nearly all fish an SD of 0 can be the highest point although anglers
// differ, with an interval far too narrow. With two SDs at 0 the mixture is not the right
// one and its p-value too large. A profile follows the maximum it started from and climbs on
// from saddles; every face is searched at its limits, but not between. A correlation asks for
// 15 anglers or more. Effects w have no correlation and no loading of their own. The
// search for several maxima is thorough, not a proof.
package glmm
