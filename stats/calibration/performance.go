package calibration

import (
	"math"
	"slices"
)

// Figure is a measure of performance with its Monte Carlo standard error. Known is
// false where the trials do not give it; both numbers are then 0.
type Figure struct {
	Value, MCError float64
	Known          bool
}

// Performance is how one method did in one cell.
type Performance struct {
	Coverage     Figure // share of all trials whose interval holds θ; no fit is a miss
	ShareWidth   Figure // median width of fitted intervals in shares, 0 to 1
	OddsWidth    Figure // the same in log odds; unknown where half or more are unbounded
	ExcludesZero Figure // share of all trials whose interval excludes θ = 0: the type I error where θ is 0
	Bias         Figure // mean of estimate - θ, log odds, over finite estimates
	RMSE         Figure // root mean squared error, log odds, over finite estimates
	NotFitted    Figure // share of trials without an answer
}

// summarise measures one method's intervals against the true θ.
func summarise(intervals []interval, theta float64) Performance {
	n := len(intervals)
	var covered, excludes, missing int
	var shares, odds, errors []float64
	for _, i := range intervals {
		if !i.fitted {
			missing++
			continue
		}
		if i.holds(theta) {
			covered++
		}
		if i.excludesZero() {
			excludes++
		}
		shares = append(shares, i.shareWidth())
		odds = append(odds, i.high-i.low)
		if !math.IsInf(i.estimate, 0) {
			errors = append(errors, i.estimate-theta)
		}
	}
	p := Performance{
		Coverage: proportion(covered, n), ExcludesZero: proportion(excludes, n), NotFitted: proportion(missing, n),
		ShareWidth: median(shares), OddsWidth: median(odds),
	}
	p.Bias, p.RMSE = errorMoments(errors)
	return p
}

// proportion is k of n with the binomial standard error √(p(1-p)/n).
func proportion(k, n int) Figure {
	if n == 0 {
		return Figure{}
	}
	p := float64(k) / float64(n)
	return Figure{p, math.Sqrt(p * (1 - p) / float64(n)), true}
}

// median sorts x and returns its median. The Monte Carlo error is half the distance
// between the order statistics √n/2 to either side, which hold the true median with
// the confidence of one standard error (David & Nagaraja 2003, Order Statistics,
// section 7.1).
func median(x []float64) Figure {
	n := len(x)
	if n == 0 {
		return Figure{}
	}
	slices.Sort(x)
	reach := math.Sqrt(float64(n)) / 2
	middle := float64(n-1) / 2
	at := func(rank float64) float64 { return x[min(n-1, max(0, int(math.Round(rank))))] }
	value := (x[(n-1)/2] + x[n/2]) / 2
	spread := (at(middle+reach) - at(middle-reach)) / 2
	if math.IsInf(value, 0) || math.IsInf(spread, 0) {
		return Figure{}
	}
	return Figure{value, spread, true}
}

// errorMoments returns mean and root mean square of the errors with their standard
// errors, the second by the delta method (Morris, White & Crowther 2019, table 6).
func errorMoments(errors []float64) (bias, rmse Figure) {
	n := float64(len(errors))
	if n < 2 {
		return Figure{}, Figure{}
	}
	var mean, square float64
	for _, e := range errors {
		mean += e / n
		square += e * e / n
	}
	var variance, squareVariance float64
	for _, e := range errors {
		variance += (e - mean) * (e - mean) / (n - 1)
		squareVariance += (e*e - square) * (e*e - square) / (n - 1)
	}
	bias = Figure{mean, math.Sqrt(variance / n), true}
	if square > 0 {
		rmse = Figure{math.Sqrt(square), math.Sqrt(squareVariance/n) / (2 * math.Sqrt(square)), true}
	} else {
		rmse = Figure{0, 0, true}
	}
	return bias, rmse
}
