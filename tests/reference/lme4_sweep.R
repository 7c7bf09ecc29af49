# Fits every fleet of a table (fleet, life, distance, play, cohort) with lme4, REML, its optimiser driven to rest:
#   Rscript lme4_sweep.R fleets.csv
# Prints a line a fleet: name, log-likelihood, whether singular, residual variance, var(intercept),
# covariance, var(growth), then the intercept and the growth of each cohort in the order of their labels.
suppressMessages(library(lme4))
fleets <- read.csv(commandArgs(TRUE)[1], colClasses = c("character", "integer", "numeric", "numeric", "character"))
control <- lmerControl(
  optimizer = "nloptwrap", calc.derivs = FALSE,
  check.nobs.vs.nRE = "ignore", check.conv.singular = "ignore",
  optCtrl = list(algorithm = "NLOPT_LN_BOBYQA", xtol_abs = 1e-12, ftol_abs = 1e-12, xtol_rel = 0, maxeval = 20000)
)
cat("lme4", as.character(packageVersion("lme4")), "R", paste(R.version$major, R.version$minor, sep = "."), "\n")
for (name in unique(fleets$fleet)) {
  d <- fleets[fleets$fleet == name, ]
  formula <- if (length(unique(d$cohort)) > 1) {
    play ~ 0 + cohort + cohort:distance + (1 + distance | life)
  } else {
    play ~ 1 + distance + (1 + distance | life)
  }
  m <- suppressWarnings(suppressMessages(lmer(formula, d, REML = TRUE, control = control)))
  v <- as.matrix(VarCorr(m)$life)
  numbers <- c(as.numeric(logLik(m)), isSingular(m, tol = 1e-4), sigma(m)^2, v[1, 1], v[1, 2], v[2, 2], fixef(m))
  cat(name, format(numbers, digits = 15, scientific = TRUE, trim = TRUE), "\n")
}
