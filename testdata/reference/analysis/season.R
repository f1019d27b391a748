# Mixed models with further columns on scenario/season.csv by lme4 (joint Laplace approximation), for season.json.
#
#   Rscript season.R ../../scenario/season.csv > season.json      (Debian's r-base-core, r-cran-lme4, r-cran-jsonlite)
#
# Fish are those analysed: landed, fair hooked, no exclusion, pattern A or B taken. c = +1 with A lower, -1 with B lower;
# half = period - 1.5; week counts weeks from the Monday of the first, centred at the mean over fish. Each model is fitted from
# several starts with tight control and the best kept.
suppressMessages({library(lme4); library(jsonlite)})
d <- read.csv(commandArgs(TRUE)[1], stringsAsFactors = FALSE)
not_sure <- d[d$taken_pattern == "unknown", ]
d <- d[d$outcome == "landed" & d$foul_hooked == "no" & d$exclusion == "" & d$taken_pattern %in% c("A", "B"), ]
d$y <- as.integer(d$taken_pattern == "A")
d$c <- ifelse(d$lower_pattern == "A", 1, -1)
d$half <- d$period - 1.5
d$out <- paste(d$angler, d$outing)
date <- as.Date(d$caught_at)
monday <- date - (as.integer(format(date, "%u")) - 1)
w <- as.integer(monday - min(monday)) / 7
d$week <- w - mean(w)
d$third <- c("first", "second", "last")[floor(3 * w / (max(w) + 1)) + 1]
d$month <- format(date, "%Y-%m")

random <- list(outing = "+ (1 | angler) + (0 + c | angler) + (1 | out)", angler = "+ (1 | angler) + (0 + c | angler)")
fit <- function(fixed, terms = random$outing, offset = NULL) {
  best <- NULL
  d$off <- if (is.null(offset)) 0 else offset
  formula <- as.formula(paste("y ~", fixed, terms, "+ offset(off)"))
  size <- length(gregexpr("\\|", terms)[[1]])
  for (start in c(.05, .4, 1)) {
    m <- suppressMessages(suppressWarnings(glmer(formula, d, binomial, nAGQ = 1, start = list(theta = rep(start, size)),
      control = glmerControl(optimizer = "bobyqa", tolPwrss = 1e-12, optCtrl = list(rhoend = 1e-9, maxfun = 1e5),
                             check.conv.singular = "ignore"))))
    if (is.null(best) || logLik(m) > logLik(best)) best <- m
  }
  best
}
coefficients <- function(m) list(estimate = as.list(fixef(m)),
  std_error = as.list(sqrt(diag(as.matrix(suppressWarnings(vcov(m, use.hessian = TRUE)))))),
  sd = as.list(sapply(VarCorr(m), function(v) sqrt(v[1, 1]))), log_likelihood = as.numeric(logLik(m)))
ratio <- function(small, large) {
  x <- 2 * (as.numeric(logLik(large)) - as.numeric(logLik(small)))
  df <- attr(logLik(large), "df") - attr(logLik(small), "df")
  list(statistic = x, df = df, p = pchisq(x, df, lower.tail = FALSE))
}
main <- fit("c")
out <- list(
  title = "Mixed models with further columns on scenario/season.csv (invented data)",
  source = "invented data: scenario/season.csv, made by season.py beside it; no publication",
  computed_with = list(R = R.version.string, lme4 = as.character(packageVersion("lme4")), script = "season.R", call = "glmer(nAGQ = 1), bobyqa, rhoend 1e-9"),
  analysed = nrow(d), not_sure = nrow(not_sure), main = coefficients(main),
  order = coefficients(fit("c + half")), carry_over = coefficients(fit("c + half + c:half")),
  drift = coefficients(fit("c + week")), thirds = coefficients(fit("0 + third + c")))
out$columns <- sapply(c("species", "origin", "water_type", "fly", "month", "presentation"), function(column)
  ratio(main, fit(paste("c +", column))), simplify = FALSE)
out$levels <- sapply(c("species", "month"), function(column) coefficients(fit(paste("0 +", column, "+ c"))), simplify = FALSE)
out$position_by <- sapply(c("water_type", "presentation"), function(column)
  ratio(fit(paste("c +", column)), fit(paste0("c + ", column, " + c:", column))), simplify = FALSE)

# Profile limits of theta without outings: theta is held by an offset. The cut for m anglers is m ln(1 + t^2 / (m - 1)), m =
# K^(1/3) K'^(2/3) with K anglers and K' = (sum n)^2 / sum n^2.
whole <- fit("c", random$angler)
n <- table(d$angler)
m <- (length(n) * (sum(n)^2 / sum(n^2))^2)^(1 / 3)
cut <- m * log(1 + qt(.975, m - 1)^2 / (m - 1))
drop <- function(theta) 2 * (as.numeric(logLik(whole)) - as.numeric(logLik(fit("0 + c", random$angler, theta))))
root <- function(lo, hi) uniroot(function(x) drop(x) - cut, c(lo, hi), tol = 1e-9)$root
theta <- fixef(whole)[["(Intercept)"]]
out$profile <- list(anglers = m, cut = cut, theta = theta, low = root(theta - 2, theta - .1), high = root(theta + .1, theta + 2), drop_at_0 = drop(0),
  p = 2 * pt(-sqrt((m - 1) * (exp(drop(0) / m) - 1)), m - 1))
write(toJSON(out, auto_unbox = TRUE, digits = 12, pretty = TRUE), stdout())
