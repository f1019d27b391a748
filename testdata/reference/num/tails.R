# Distributions of fractional parameters by R's own functions: prints tails.json.  Rscript tails.R > tails.json
digits <- function(x) { # the shortest text that reads back as the same number
  if (is.infinite(x)) return(if (x > 0) '"Inf"' else '"-Inf"')
  for (d in 15:17) { s <- trimws(formatC(x, digits = d, format = "g")); if (as.numeric(s) == x) return(s) }
  s
}
row <- function(...) { v <- list(...); paste0("{", paste0('"', names(v), '": ', sapply(v, digits), collapse = ", "), "}") }
rows <- function(name, text) cat('  "', name, '": [\n    ', paste(text, collapse = ",\n    "), "\n  ]", sep = "")
nb <- list(c(0, 1.17, 17), c(40, 1.17, 17), c(300, 1.17, 17), c(3, .35, 2.5), c(60, .35, 2.5), c(5, 1e6, 4.2), c(20000, 40.5, 20000), c(19000, 1e4, 20000))
t <- list(c(.025, 1.5), c(1e-10, 2.5), c(1e-100, 4.5), c(1e-300, 7.25), c(1e-300, 50), c(1e-300, 1e4), c(.3, 1e6), c(1e-6, 1e6), c(.4999, 3.3), c(1e-300, 1e10))
x2 <- list(c(1e-300, 2.5), c(1e-300, 50), c(1e-300, 1e4), c(1e-8, .7), c(.025, 1e6), c(1e-100, 1e6), c(.4, 3.3))
cat('{\n  "title": "Negative binomial probabilities and quantiles of t and chi-square, fractional parameters",\n',
    '  "source": "functions of R; arguments are invented, size 1.17 about that of the quine data of MASS",\n',
    '  "computed_with": {"versions": {"R": "', R.version.string, '"}, "call": "tails.R in this folder: dnbinom, pnbinom, qt, qchisq, log.p = TRUE, the quantiles polished by Newton steps"},\n', sep = "")
rows("negative_binomial", sapply(nb, function(a) row(k = a[1], size = a[2], mean = a[3],
  log_mass = dnbinom(a[1], size = a[2], mu = a[3], log = TRUE),
  log_lower = pnbinom(a[1], size = a[2], mu = a[3], log.p = TRUE),
  log_upper = pnbinom(a[1] - 1, size = a[2], mu = a[3], lower.tail = FALSE, log.p = TRUE))))
cat(",\n")
# Newton steps on the log tail take the quantile functions, which stop at about 1e-10, to the last digits of pt and pchisq.
polish <- function(x, tail, logp, logd) { for (i in 1:4) x <- x + (logp(x) - log(tail)) / exp(logd(x) - logp(x)); x }
rows("t", sapply(t, function(a) row(tail = a[1], df = a[2],
  upper_quantile = polish(qt(log(a[1]), a[2], lower.tail = FALSE, log.p = TRUE), a[1],
    function(x) pt(x, a[2], lower.tail = FALSE, log.p = TRUE), function(x) dt(x, a[2], log = TRUE)))))
cat(",\n")
rows("chi_square", sapply(x2, function(a) row(tail = a[1], df = a[2],
  upper_quantile = polish(qchisq(log(a[1]), a[2], lower.tail = FALSE, log.p = TRUE), a[1],
    function(x) pchisq(x, a[2], lower.tail = FALSE, log.p = TRUE), function(x) dchisq(x, a[2], log = TRUE)))))
cat("\n}\n")
