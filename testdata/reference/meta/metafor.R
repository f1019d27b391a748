# Values of influence.json, regression.json and conditional.json beside this
# script: R with metafor (and BiasedUrn, which its conditional model needs).
# Run in this folder: Rscript metafor.R
suppressMessages(library(metafor))
atom <- function(v) ifelse(is.na(v), "null", vapply(v, function(z) sprintf("%.17g", z), ""))
json <- function(x) {
  if (is.list(x) && !is.null(names(x))) return(paste0("{", paste0("\"", names(x), "\": ", vapply(x, json, ""), collapse = ", "), "}"))
  if (is.list(x)) return(paste0("[", paste0(vapply(x, json, ""), collapse = ", "), "]"))
  if (is.matrix(x)) return(paste0("[", paste0(apply(x, 1, function(r) paste0("[", paste0(atom(r), collapse = ", "), "]")), collapse = ", "), "]"))
  if (is.character(x)) return(if (length(x) == 1 && !inherits(x, "AsIs")) paste0("\"", x, "\"") else paste0("[", paste0("\"", x, "\"", collapse = ", "), "]"))
  if (length(x) == 1 && !inherits(x, "AsIs")) return(atom(x))
  paste0("[", paste0(atom(x), collapse = ", "), "]")
}
save <- function(file, title, source, call, cases) {
  head <- list(title = title, source = source, computed_with = list(versions = list(R = R.version.string, metafor = as.character(packageVersion("metafor")), metadat = as.character(packageVersion("metadat"))), call = call))
  parts <- vapply(names(head), function(n) paste0("  \"", n, "\": ", json(head[[n]])), "")
  rows <- vapply(cases, function(case) paste0("    {\n", paste0("      \"", names(case), "\": ", vapply(case, json, ""), collapse = ",\n"), "\n    }"), "")
  writeLines(c("{", paste0(parts, ","), "  \"cases\": [", paste0(rows, collapse = ",\n"), "  ]", "}"), file)
}
tight <- list(threshold = 1e-14, maxiter = 10000, tol = 1e-16)
sources <- "bcg: Colditz et al. (1994) JAMA 271:698-702; catheters: Niel-Weise et al. (2007) Intensive Care Med 33:2058-2068, as metadat::dat.bcg and dat.nielweise2007"
bcg <- escalc(measure = "RR", ai = tpos, bi = tneg, ci = cpos, di = cneg, data = dat.bcg)
rare <- escalc(measure = "OR", ai = ai, n1i = n1i, ci = ci, n2i = n2i, data = dat.nielweise2007, add = 1/2, to = "only0", drop00 = FALSE)

one <- function(name, d, method) {
  r <- rma(yi, vi, data = d, method = method, control = tight)
  i <- influence(r)$inf
  list(name = name, method = method, y = I(as.numeric(d$yi)), v = I(as.numeric(d$vi)), estimate = as.numeric(r$beta), std_error = r$se, rstudent = I(i$rstudent), dffits = I(i$dffits), cook = I(i$cook.d), covariance_ratio = I(i$cov.r), tau2_deleted = I(i$tau2.del), q_deleted = I(i$QE.del), hat = I(i$hat))
}
save("influence.json", "Influence of each estimate", paste0(sources, "; definitions: Viechtbauer and Cheung (2010) Research Synthesis Methods 1:112-125"),
  "metafor.R: influence(rma(yi, vi, method=..., control=list(threshold=1e-14))); log risk ratios and log odds ratios, 1/2 added to the cells of a table with a zero",
  list(one("bcg REML", bcg, "REML"), one("bcg DL", bcg, "DL"), one("bcg PM", bcg, "PM"), one("bcg ML", bcg, "ML"), one("catheters REML", rare, "REML"), one("catheters EE", rare, "EE")))

fit <- function(name, mods, method, test) {
  r <- rma(yi, vi, mods = mods, data = bcg, method = method, test = test, control = tight)
  list(name = paste(name, method, test), method = method, test = test, columns = unname(t(mods)), coef = I(as.numeric(r$beta)), std_error = I(r$se), p = I(r$pval), low = I(r$ci.lb), high = I(r$ci.ub), tau2 = r$tau2, qm = r$QM, qm_df = r$QMdf[1], qm_df2 = if (is.na(r$QMdf[2])) 0 else r$QMdf[2], qm_p = r$QMp, qe = r$QE, qe_df = r$k - r$p, qe_p = r$QEp, vcov = unname(r$vb))
}
fits <- list()
designs <- list(latitude = cbind(dat.bcg$ablat), latitude_year = cbind(dat.bcg$ablat, dat.bcg$year), allocation = cbind(as.numeric(dat.bcg$alloc == "random"), as.numeric(dat.bcg$alloc == "systematic")))
for (n in names(designs)) for (m in c("DL", "PM", "REML", "ML", "EE")) for (t in if (m == "EE") "z" else c("z", "knha", "adhoc")) fits[[length(fits) + 1]] <- fit(n, designs[[n]], m, t)
save("regression.json", "Weighted regression of effects on columns", "Colditz et al. (1994) JAMA 271:698-702: log risk ratios on absolute latitude, on latitude and year, and on kind of allocation (random, systematic; the rest alternate)",
  "metafor.R: rma(yi, vi, mods=..., method=..., test='z'|'knha'|'adhoc', control=list(threshold=1e-14)); columns are listed one array a column; test z: qm is chi-square on qm_df; knha, adhoc: F on qm_df and qm_df2", fits)

# Tables as rows (test lower, then control lower) of lower-taken and upper-taken counts.
pool <- function(name, t) {
  r <- rma.glmm(measure = "OR", ai = t[, 1], bi = t[, 2], ci = t[, 3], di = t[, 4], model = "CM.EL", control = list(hesspar = list(eps = 1e-5, r = 6)))
  z <- rma.glmm(measure = "OR", ai = t[, 1], bi = t[, 2], ci = t[, 3], di = t[, 4], model = "CM.EL", method = "EE")
  list(name = name, rows_a_b_c_d = unname(t), k = r$k, log_odds_ratio = as.numeric(r$beta), std_error = r$se, tau2 = r$tau2, log_likelihood = as.numeric(logLik(r)), common_log_odds_ratio = as.numeric(z$beta), common_std_error = z$se, common_log_likelihood = as.numeric(logLik(z)))
}
lower1 <- c(3, 4, 3, 4, 2, 3, 4, 3, 4, 3, 4, 3); lower2 <- c(2, 2, 1, 3, 2, 1, 2, 3, 1, 1, 2, 2)
blocks <- cbind(lower1, 4 - lower1, lower2, 4 - lower2)
anglers <- rowsum(blocks, c("a", "b", "c", "a", "d", "e", "f", "b", "c", "d", "e", "f"))
first <- c(18, 20, 14, 22, 12, 19); second <- c(10, 8, 13, 6, 11, 12)
n <- dat.nielweise2007
save("conditional.json", "Conditional (noncentral hypergeometric) mixed model", paste0(sources, "; D1, D2: invented worked examples; the catheters are worked in Stijnen, Hamza and Ozdemir (2010) Stat Med 29:3046-3067"),
  "metafor.R: rma.glmm(measure='OR', model='CM.EL', method='ML'|'EE') with BiasedUrn; its integrals and Hessian are numerical, good to about 1e-5",
  list(pool("catheters", cbind(n$ai, n$n1i - n$ai, n$ci, n$n2i - n$ci)), pool("D1 by angler", unname(anglers)), pool("D1 by block", unname(blocks)), pool("D2", cbind(first, 24 - first, second, 24 - second))))
