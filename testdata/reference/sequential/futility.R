# Inner bounds that spend the risk of missing the planned effect, from multivariate normal probabilities of rectangles
# (mvtnorm), written from the definition. Run: Rscript futility.R > futility.json
suppressMessages(library(mvtnorm))
miwa <- Miwa(steps = 2049)
prob <- function(t, lower, upper, drift) {
  m <- drift * sqrt(t)
  if (length(t) == 1) return(pnorm(upper, m) - pnorm(lower, m))
  r <- outer(t, t, function(a, b) sqrt(pmin(a, b) / pmax(a, b)))
  as.numeric(pmvnorm(lower = lower - m, upper = upper - m, corr = r, algorithm = miwa))
}
# chance of a_j < |Z_j| < c_j at the looks before, then |Z_k| < a: all signs before
inside <- function(t, cc, a, last, drift) {
  k <- length(t)
  if (k == 1) return(prob(t, -last, last, drift))
  signs <- as.matrix(expand.grid(rep(list(c(-1, 1)), k - 1)))
  sum(apply(signs, 1, function(s) prob(t, c(ifelse(s > 0, a, -cc[1:(k - 1)]), -last), c(ifelse(s > 0, cc[1:(k - 1)], -a), last), drift)))
}
beta <- .2
spend <- list(obrien_fleming = function(t) 2 * pnorm(qnorm(1 - beta / 2) / sqrt(t), lower.tail = FALSE),
              pocock = function(t) beta * log(1 + (exp(1) - 1) * t))
cases <- list(list(shape = "obrien_fleming", t = c(.25, .5, .75), c = c(4.3326, 2.9631, 2.3590), drift = 2.826),
              list(shape = "obrien_fleming", t = c(.3, .45, .8), c = c(3.9, 3.1, 2.25), drift = 2.83),
              list(shape = "pocock", t = c(.25, .5, .75), c = c(2.3675, 2.3675, 2.3582), drift = 3.08))
num <- function(x) sprintf("%.12g", x)
vec <- function(x) paste0("[", paste(num(x), collapse = ", "), "]")
out <- sapply(cases, function(x) {
  a <- c(); spent <- 0
  for (k in seq_along(x$t)) {
    share <- spend[[x$shape]](x$t[k]) - spent
    a <- c(a, uniroot(function(v) inside(x$t[1:k], x$c, a, v, x$drift) - share, c(0, x$c[k]), tol = 1e-12)$root)
    spent <- spent + share
  }
  sprintf('  {"shape": "%s", "fractions": %s, "z_boundaries": %s, "drift": %s, "inner_z": %s, "p": %s}',
          x$shape, vec(x$t), vec(x$c), num(x$drift), vec(a), vec(2 * pnorm(-a)))
})
cat('{"source": "Invented schedules; inner bounds spending the risk of a miss (Pampallona, Tsiatis & Kim 2001, Drug Inf. J. 35:1113; functions of Lan & DeMets 1983 one-sided at beta), from multivariate normal probabilities",\n "computed_with": {"R": "', as.character(getRversion()), '", "mvtnorm": "', as.character(packageVersion("mvtnorm")), '", "call": "pmvnorm(algorithm = Miwa(steps = 2049)), uniroot(tol = 1e-12); futility.R beside this file"},\n "power": 0.8,\n "cases": [\n', paste(out, collapse = ",\n"), '\n]}\n', sep = "")
