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
// angler's trial, every outcome counted). Simulation: season.go (chance plays a
// season), simulate.go and rates.go (the analysis that would be made of it),
// stopping.go (looks and evidence), water.go (what a swap rule leaves). The
// organiser's question: question.go, plan.go, playing.go, warnings.go, answer.go.
//
// Where the two differ. The closed form takes the information of a fish at "no
// effect", p(1-p), where the true one is lower, by 4 % at 60 of 100 and 9 % at 65:
// the usual formula, a little hopeful. It takes every angler to have the same
// number of fish, and the SD between anglers as known but for t on K-1. Where anglers
// are in truth alike (SD 0) the mixed model, which cannot know that, is the more
// careful one: of six anglers with 24 fish each it sees 60 of 100 in 36 of 100 seasons
// and not in 50, of eight in 60 and not 67; at SDs of .3 and .5 the two agree within
// simulation error from six anglers on.
//
// Limitations. A fish of an alternating trial is Poisson given its outing: schools
// that pass within one are not played. The fly's effect does not drift in the
// season, nor do fish learn.
//
// Every function is pure. Nothing returns NaN or an infinity: what cannot be had
// is an error or a false ok.
package power
