# Times R's lme4 (glmer) on one data set and prints the milliseconds of the fastest of several fits
# and the log-likelihood of single catches. BenchmarkAgainstLme4 runs it: see there.
#
#   Rscript bench_lme4.R FILE FORM [REPEATS]
#
# FILE is CSV with the columns angler, outing, c (+1 or -1), y, n; FORM is "position" for
# u and v, "outing" for u, v and w. The model is the joint Laplace approximation (nAGQ = 1). Tolerances are
# tightened from the defaults, at which the fit stops up to 1e-3 short in its parameters.
suppressMessages(library(lme4))
args <- commandArgs(TRUE)
d <- read.csv(args[1])
form <- cbind(y, n - y) ~ c + (1 | angler) + (0 + c | angler)
if (args[2] == "outing") form <- update(form, . ~ . + (1 | outing))
repeats <- if (length(args) > 2) as.integer(args[3]) else 3L
d$angler <- factor(d$angler)
d$outing <- factor(paste(d$angler, d$outing))
control <- glmerControl(
  optimizer = "bobyqa", tolPwrss = 1e-10, optCtrl = list(rhobeg = .02, rhoend = 1e-7, maxfun = 1e5),
  calc.derivs = TRUE, # their standard errors, as ours, from the observed information
  check.conv.grad = "ignore", check.conv.singular = "ignore", check.conv.hess = "ignore", check.nobs.vs.nlev = "ignore"
)
best <- Inf
for (i in seq_len(repeats)) {
  took <- system.time(fit <- glmer(form, d, binomial, control = control))[["elapsed"]]
  best <- min(best, took)
}
cat(sprintf("%.3f %.9f\n", 1000 * best, as.numeric(logLik(fit)) - sum(lchoose(d$n, d$y))))
