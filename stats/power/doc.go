// Package power says how large a trial must be, and what a trial of a given
// size can tell.
//
// Model, as everywhere in stats: logit P(test taken) = (θ + u_a) + (β + v_a)·c +
// w_o. The share worth knowing is expit(θ), that of the lower position with the
// patterns alike expit(β); u, v, w are normal with SDs sd_pattern, sd_position
// and sd_outing. K anglers catch m fish each.
//
// Sections. Closed forms: information.go (what a fish tells), noncentral.go
// (power of a t test), closed.go (power, fish, anglers and the smallest share of
// a team), more.go (what would settle a trial that has begun), exact.go (one
// angler's trial, every outcome counted).
//
// A closed form takes the information of a fish at "no effect", p(1-p), where the
// true one is lower by a factor 4·P(1-P): 4 % at 60 of 100 and 9 % at 65. That is
// the usual formula, a little hopeful; simulation has no such term.
//
// Every function is pure. Nothing returns NaN or an infinity: what cannot be had
// is an error or a false ok.
package power
