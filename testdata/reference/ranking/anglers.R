# Values of anglers.json beside this script: strengths of three patterns with
# anglers who differ, by brute force. The two integrals per angler are sums over a
# square lattice (step 0.12 SDs out to 7.2), the maximum is nlminb's, polished by
# Newton steps with numDeriv. Run in this folder: Rscript anglers.R
suppressMessages(library(numDeriv))
set.seed(19)
patterns <- c("plain", "ribbed", "tailed")
rigs <- rbind(c(1, 2), c(2, 1), c(1, 3), c(3, 1), c(2, 3), c(3, 2))
anglers <- 14
strength <- c(0, .5, .2); position <- .3; sd <- c(.8, .5)
d <- do.call(rbind, lapply(seq_len(anglers), function(k) {
  u <- rnorm(1, 0, sd[1]); v <- rnorm(1, 0, sd[2])
  lower <- rigs[, 1]; upper <- rigs[, 2]
  eta <- strength[lower] - strength[upper] + position + v + u * ((upper == 1) - (lower == 1))
  n <- sample(3:8, nrow(rigs), TRUE); y <- rbinom(nrow(rigs), n, plogis(eta))
  data.frame(angler = k, lower = lower, upper = upper, y = y, n = n)
}))
z <- seq(-7.2, 7.2, by = .12)
grid <- expand.grid(b1 = z, b2 = z)
logw <- dnorm(grid$b1, log = TRUE) + dnorm(grid$b2, log = TRUE) + 2 * log(.12)
ll <- function(p) { # strengths 2 and 3, position, two SDs
  a <- c(0, p[1], p[2])
  total <- 0
  for (k in seq_len(anglers)) {
    e <- d[d$angler == k, ]; f <- logw
    for (i in seq_len(nrow(e))) {
      eta <- a[e$lower[i]] - a[e$upper[i]] + p[3] + p[5] * grid$b2 + p[4] * grid$b1 * ((e$upper[i] == 1) - (e$lower[i] == 1))
      f <- f + e$y[i] * plogis(eta, log.p = TRUE) + (e$n[i] - e$y[i]) * plogis(-eta, log.p = TRUE)
    }
    m <- max(f); total <- total + m + log(sum(exp(f - m)))
  }
  total
}
p <- nlminb(c(.5, .2, .3, .8, .5), function(p) -ll(p), control = list(rel.tol = 1e-13))$par
for (i in 1:2) p <- p - solve(hessian(ll, p), grad(ll, p))
V <- solve(-hessian(ll, p))
num <- function(x) paste0("[", paste0(sprintf("%.12g", x), collapse = ", "), "]")
writeLines(c("{",
  '  "title": "Strengths of three patterns with anglers who differ",',
  '  "source": "invented counts, drawn by the script",',
  paste0('  "computed_with": {"versions": {"R": "', R.version.string, '", "numDeriv": "', packageVersion("numDeriv"), '"}, "call": "anglers.R in this folder: brute-force integration on a lattice"},'),
  '  "conventions": "rows: angler, lower, upper, taken lower, taken upper; coef: ribbed, tailed against plain, position; sd: of the departure in plain against the others, of position",',
  paste0('  "patterns": ["', paste0(patterns, collapse = '", "'), '"],'),
  '  "rows": [', paste0(sprintf('    [%d, "%s", "%s", %d, %d]', d$angler, patterns[d$lower], patterns[d$upper], d$y, d$n - d$y), collapse = ",\n"), "  ],",
  paste0('  "coef": ', num(p[1:3]), ","), paste0('  "std_error": ', num(sqrt(diag(V))[1:3]), ","),
  paste0('  "sd": ', num(abs(p[4:5])), ","), paste0('  "log_likelihood": ', sprintf("%.12g", ll(p))), "}"), "anglers.json")
