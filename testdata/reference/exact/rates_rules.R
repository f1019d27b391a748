# Tables by penalised likelihood and by the Freeman-Halton test, stratified rates and Poisson limits in R: prints
# rates_rules.json.  Rscript rates_rules.R > rates_rules.json
digits <- function(x) {
  if (is.infinite(x)) return(if (x > 0) '"Inf"' else '"-Inf"')
  for (d in 15:17) { s <- trimws(formatC(x, digits = d, format = "g")); if (as.numeric(s) == x) return(s) }
  s
}
list_of <- function(v) paste0("[", paste(sapply(v, digits), collapse = ", "), "]")
section <- function(name, text, last = FALSE) cat('  "', name, '": [\n    ', paste(text, collapse = ",\n    "), "\n  ]", if (!last) ",", "\n", sep = "")

# Penalised log likelihood of the logistic model from its definition (Firth 1993): l + 1/2 log|X'WX|, maximised by optim.
firth <- function(cells) {
  a <- cells[1]; b <- cells[2]; c <- cells[3]; d <- cells[4]
  y <- c(a, c); n <- c(a + b, c + d) # test taken; theta, beta
  X <- cbind(theta = 1, beta = c(1, -1))
  pl <- function(par) {
    p <- plogis(drop(X %*% par)); q <- plogis(-drop(X %*% par))
    sum(y * log(p) + (n - y) * log(q)) + 0.5 * log(det(t(X) %*% (X * (n * p * q))))
  }
  newton <- function(f, x) { # to the last digits, by central differences of step 1e-3 with Richardson's correction
    for (i in 1:60) {
      g1 <- function(h) (f(x + h) - f(x - h)) / (2 * h); g2 <- function(h) (f(x + h) - 2 * f(x) + f(x - h)) / h^2
      s <- ((4 * g1(5e-4) - g1(1e-3)) / 3) / ((4 * g2(5e-4) - g2(1e-3)) / 3)
      x <- x - max(-1, min(1, s))
      if (abs(s) < 1e-12) break
    }
    x
  }
  profile <- function(theta) { b <- newton(function(be) pl(c(theta, be)), 0); pl(c(theta, b)) }
  top <- optim(c(0, 0), function(p) -pl(p), method = "BFGS", control = list(reltol = 1e-15))$par
  for (i in 1:30) { top[1] <- newton(function(t) pl(c(t, top[2])), top[1]); top[2] <- newton(function(t) pl(c(top[1], t)), top[2]) }
  best <- pl(top); reach <- qchisq(.95, 1)
  fall <- function(t) 2 * (best - profile(t)) - reach
  p <- plogis(drop(X %*% top)); W <- n * p * (1 - p)
  se <- sqrt(solve(t(X) %*% (X * W))[1, 1])
  low <- uniroot(fall, c(top[1] - 12, top[1]), tol = 1e-12)$root
  high <- uniroot(fall, c(top[1], top[1] + 12), tol = 1e-12)$root
  paste0('{"a_b_c_d": ', list_of(cells), ', "theta": ', digits(top[1]), ', "beta": ', digits(top[2]), ', "std_error": ', digits(se),
         ', "low": ', digits(low), ', "high": ', digits(high), ', "p": ', digits(pchisq(2 * (best - profile(0)), 1, lower.tail = FALSE)), "}")
}
tables <- list(c(5, 0, 3, 2), c(4, 0, 6, 0), c(0, 7, 3, 4), c(8, 0, 0, 8), c(40, 8, 26, 22), c(11, 114, 234, 1), c(1, 0, 0, 1), c(300, 250, 240, 310))

ffh <- function(rows) {
  m <- matrix(rows, ncol = 2, byrow = TRUE)
  paste0('{"rows": [', paste(apply(m, 1, list_of), collapse = ", "), '], "p": ', digits(fisher.test(m, workspace = 2e7)$p.value), "}")
}
halton <- list(c(5, 0, 1, 9, 0, 4), c(3, 1, 1, 3), c(13, 10, 5, 18, 5, 18), c(2, 15, 10, 3, 4, 4, 1, 0), c(20, 5, 12, 13, 9, 16, 15, 10, 8, 17), c(4, 0, 4, 0, 0, 3))

# Stratified rates: conditional likelihood by a Poisson regression with a factor for the stratum; that is its maximum too.
rates <- function(m) { # rows: test, time, control, time
  k <- nrow(m); y <- c(m[, 1], m[, 3]); t <- c(m[, 2], m[, 4]); pattern <- rep(1:0, each = k); s <- factor(rep(1:k, 2))
  f <- if (k > 1) glm(y ~ s + pattern, family = poisson, offset = log(t), control = list(epsilon = 1e-15, maxit = 100)) else glm(y ~ pattern, family = poisson, offset = log(t), control = list(epsilon = 1e-15, maxit = 100))
  conv <- 1
  for (i in 1:k) conv <- convolve(conv, rev(dbinom(0:(m[i, 1] + m[i, 3]), m[i, 1] + m[i, 3], m[i, 2] / (m[i, 2] + m[i, 4]))), type = "open")
  seen <- sum(m[, 1]) + 1
  paste0('{"strata": [', paste(apply(m, 1, list_of), collapse = ", "), '], "log_ratio": ', digits(unname(coef(f)["pattern"])),
         ', "p_minlik": ', digits(sum(conv[conv <= conv[seen] * (1 + 1e-7)])), ', "p_central": ', digits(min(1, 2 * min(sum(conv[1:seen]), sum(conv[seen:length(conv)])))), "}")
}
strata <- list(rbind(c(18, 1, 10, 1)), rbind(c(6, 2.5, 3, 2), c(4, 1, 5, 3.5), c(9, 4, 2, 4)), rbind(c(1, .5, 0, .75), c(0, 2, 2, 1.5), c(5, 3, 1, 3), c(3, 1, 3, 1)))

garwood <- function(x) {
  b <- poisson.test(x)$conf.int
  paste0('{"x": ', x, ', "low": ', digits(b[1]), ', "high": ', digits(b[2]), ', "low_99": ', digits(poisson.test(x, conf.level = .99)$conf.int[1]),
         ', "high_99": ', digits(poisson.test(x, conf.level = .99)$conf.int[2]), "}")
}
cat('{\n  "title": "Penalised 2x2 tables, tables of many rows, stratified rates, Poisson limits",\n',
    '  "source": "Firth (1993) Biometrika 80:27; Freeman & Halton (1951) Biometrika 38:141, first table from Eagle et al. (2002); Garwood (1936) Biometrika 28:437; other counts are invented",\n',
    '  "computed_with": {"versions": {"R": "', R.version.string, '"}, "call": "rates_rules.R in this folder: penalised likelihood from its definition and uniroot; fisher.test; glm(family = poisson) and convolve; poisson.test"},\n',
    '  "conventions": {"strata": "test fish, test time, control fish, control time"},\n',
    '  "accuracy": "firth 1e-7 (numerical derivatives), fisher.test 1e-7 where it uses its network, glm 1e-10, convolve 1e-14 of the largest probability, poisson.test 1e-13",\n', sep = "")
section("firth", sapply(tables, firth))
section("freeman_halton", sapply(halton, ffh))
section("rates", sapply(strata, rates))
section("garwood", sapply(c(0, 1, 5, 20, 100, 1234), garwood), TRUE)
cat("}\n")
