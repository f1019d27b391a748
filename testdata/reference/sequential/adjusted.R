# Stage-wise ordered p-value, median-unbiased estimate and limits from multivariate normal probabilities (mvtnorm),
# written from the definition: no recursive integration. Run: Rscript adjusted.R > adjusted.json
suppressMessages(library(mvtnorm))
miwa <- Miwa(steps = 2049)
# P(lower < Z < upper), Z normal with means drift*sqrt(t) and correlations sqrt(t_j/t_k), j < k
prob <- function(t, lower, upper, drift) {
  m <- drift * sqrt(t)
  if (length(t) == 1) return(pnorm(upper, m) - pnorm(lower, m))
  r <- outer(t, t, function(a, b) sqrt(pmin(a, b) / pmax(a, b)))
  as.numeric(suppressWarnings(pmvnorm(lower = lower - m, upper = upper - m, corr = r, algorithm = miwa)))
}
# chance of an outcome at least as high as stopping at look k with Z = z
at_least <- function(t, b, z, drift) {
  k <- length(t); s <- 0
  for (j in seq_len(k)) {
    edge <- if (j < k) b[j] else z
    s <- s + prob(t[1:j], c(-b[seq_len(j - 1)], edge), c(b[seq_len(j - 1)], Inf), drift)
  }
  s
}
at_most <- function(t, b, z, drift) at_least(t, b, -z, -drift)
cases <- list(
  list(name = "one look", t = 1, b = 1.959963984540054, z = 2.3),
  list(name = "two looks, at the second", t = c(.5, 1), b = c(2.7965096812876915, 1.9774309592923576), z = 2.1),
  list(name = "two looks, not crossed", t = c(.5, 1), b = c(2.7965096812876915, 1.9774309592923576), z = 1.2),
  list(name = "three looks, at the second, negative", t = c(.2, .5, 1), b = c(4.876881, 2.962588, 1.968596), z = -3.3, stop = 2),
  list(name = "Pocock type, four looks, at the third", t = c(.3, .45, .8, 1), b = c(2.3, 2.45, 2.35, 2.3), z = 2.6, stop = 3),
  list(name = "four looks, at the last, near 0", t = c(.25, .5, .75, 1), b = c(4.3326, 2.9631, 2.3590, 2.0141), z = -0.1),
  list(name = "overrun", t = c(.3, .6, 1.15), b = c(3.9, 2.7, 1.98), z = 2.05),
  list(name = "opposite tail at the last look", t = c(.25, .5, .75, 1), b = c(4.3326, 2.9631, 2.3590, 2.0141), z = 2.5))
alpha <- .05
root <- function(f) uniroot(f, c(-12, 14), tol = 1e-12, maxiter = 500)$root
num <- function(x) sprintf("%.12g", x)
vec <- function(x) paste0("[", paste(num(x), collapse = ", "), "]")
out <- sapply(cases, function(x) {
  k <- if (is.null(x$stop)) length(x$t) else x$stop
  t <- x$t[1:k]; b <- x$b[1:k]
  p <- 2 * min(at_least(t, b, x$z, 0), at_most(t, b, x$z, 0))
  lo <- root(function(d) at_least(t, b, x$z, d) - alpha / 2)
  me <- root(function(d) at_least(t, b, x$z, d) - .5)
  hi <- root(function(d) at_most(t, b, x$z, d) - alpha / 2)
  sprintf('  {"name": "%s", "fractions": %s, "z_boundaries": %s, "z": %s, "p": %s, "median": %s, "low": %s, "high": %s}',
          x$name, vec(t), vec(b), num(x$z), num(p), num(me), num(lo), num(hi))
})
cat('{"source": "Invented outcomes; stage-wise order of Fairbanks & Madsen (1982), Biometrika 69:69, and Tsiatis, Rosner & Mehta (1984), Biometrics 40:797, from multivariate normal probabilities; estimates and limits are drifts, the mean of Z at fraction 1",\n "computed_with": {"R": "', as.character(getRversion()), '", "mvtnorm": "', as.character(packageVersion("mvtnorm")), '", "call": "pmvnorm(algorithm = Miwa(steps = 2049)), uniroot(tol = 1e-12); adjusted.R beside this file"},\n "alpha": 0.05,\n "cases": [\n', paste(out, collapse = ",\n"), '\n]}\n', sep = "")
