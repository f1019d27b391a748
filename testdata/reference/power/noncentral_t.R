# Noncentral t and the power of one-sample t tests: Rscript noncentral_t.R > noncentral_t.json
num <- function(x) if (is.infinite(x)) '"Inf"' else formatC(x, digits = 17, format = "g")
rows <- function(f, ...) paste(unlist(mapply(f, ..., SIMPLIFY = FALSE)), collapse = ",\n    ")
grid <- expand.grid(t = c(-3, -.5, 0, .7, 1.96, 2.5706, 6), df = c(1, 2, 5, 11, 40, 300), delta = c(0, .3, 1.4, 2.8, 5))
cdf <- rows(function(t, df, d) sprintf('{"t": %s, "df": %s, "delta": %s, "p": %s}', num(t), num(df), num(d), num(pt(t, df, d))), grid$t, grid$df, grid$delta)
teams <- expand.grid(sd = c(0, .3, .5), team = 1:6)
K <- c(6, 8, 8, 12, 12, 20); m <- c(24, 24, 48, 24, 48, 24); theta <- qlogis(.6)
team <- rows(function(sd, i) {
  d <- theta / sqrt(sd^2 / K[i] + 1 / (K[i] * m[i] * .25)); q <- qt(.975, K[i] - 1)
  sprintf('{"anglers": %d, "fish": %d, "sd": %s, "power": %s}', K[i], m[i], num(sd), num(pt(-q, K[i] - 1, d) + pt(q, K[i] - 1, d, lower.tail = FALSE)))
}, teams$sd, teams$team)
one <- expand.grid(n = c(5, 8, 12, 30), delta = c(.3, .6, 1), alpha = c(.01, .05))
test <- rows(function(n, delta, alpha) sprintf('{"n": %d, "delta": %s, "alpha": %s, "power": %s}', n, num(delta), num(alpha),
  num(power.t.test(n = n, delta = delta, sd = 1, sig.level = alpha, type = "one.sample", strict = TRUE)$power)), one$n, one$delta, one$alpha)
cat(sprintf('{
  "source": "Definitions: noncentral t distribution; share .60, two-sided .05, standard error sqrt(sd^2/K + 1/(K m / 4)), t on K-1",
  "computed_with": "%s: pt(ncp), power.t.test(strict = TRUE); noncentral_t.R",
  "cdf": [
    %s],
  "team": [
    %s],
  "one_sample": [
    %s]
}
', R.version.string, cdf, team, test))
