// Package sequential judges planned looks at an open trial: how small a p-value a
// look needs so that all looks together keep their level, and what the result is
// worth after stopping.
//
// # Model
//
// At look k the trial's method gives an estimate of θ with standard error SE. Its
// information is I = 1/SE², its fraction t = I over the planned information. The
// statistics Z = θ̂/SE of successive looks are taken as normal with mean θ√I,
// variance 1 and correlation √(I_j/I_k), j < k: independent increments on the score
// scale B(t) = Z√t, which is Brownian motion with drift δ = θ√(planned information).
// Every efficient estimator gives this in large samples (Scharfstein, Tsiatis &
// Robins 1997, J. Am. Stat. Assoc. 92:1342).
//
// # Method
//
// A spending function says how much of the two-sided level α may be spent by the
// time a fraction t of the information is in, so that looks need not be equally
// spaced (Lan & DeMets 1983, Biometrika 70:659); each tail spends half, by the
// one-sided formula at α/2. The chance of having gone on up to look k is found by
// recursive numerical integration over the score scale (Armitage, McPherson & Rowe
// 1969, J. R. Stat. Soc. A 132:235; Jennison & Turnbull 2000, Group Sequential
// Methods with Applications to Clinical Trials, chapter 19), on panels of
// Gauss-Legendre nodes no wider than the narrowest step beside them.
//
// A boundary is applied as a nominal p-value: a look stops the trial when the
// two-sided p of its own method, by the normal or by Student's t, is at most the
// boundary. So one rule serves every method (Jennison & Turnbull 2000, section 3.6.1,
// the significance-level approach for t statistics).
//
// Files: spending.go, plan.go (what is planned), monitor.go (looks one by one),
// adjusted.go (p, estimate and limits after stopping), boundary.go, crossing.go
// (chances, power, expected size), futility.go, walk.go (the integration).
//
// # Where it fails
//
// Information estimated from few anglers is rough and may fall between looks; then
// the rules of [Monitor] apply. The level is that of the method at one look, as far
// as its p is right there. Futility bounds are advice: they never enter the
// boundaries.
package sequential
