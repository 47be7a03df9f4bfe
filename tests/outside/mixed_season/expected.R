# Expected figures of an unbalanced, partly nested, partly crossed season (season.csv, invented).
# Run in this folder: Rscript expected.R   (lme4 1.1-31, lmerTest)
# lme4's own optimisers stop at about 1e-5 of the sds, so its criterion is minimised by restarted
# simplex searches to rounding first, and the fit is then evaluated there (optimizer = NULL).
suppressMessages(library(lmerTest))
season <- read.csv("season.csv", na.strings = "", colClasses = c(
  grower = "character", batch = "character", assessor = "character", still = "character"))
quiet <- list(optimizer = "bobyqa", check.conv.singular = "ignore")
there <- do.call(lmerControl, modifyList(quiet, list(optimizer = NULL), keep.null = TRUE))
sharpest <- function(model) {
  criterion <- do.call(mkLmerDevfun, lFormula(model, season))
  at <- rep(0.7, 4)
  for (again in 1:8) at <- optim(at, criterion, control = list(reltol = 1e-16, maxit = 5000))$par
  at
}
out <- data.frame()
add <- function(response, quantity, term, value)
  out <<- rbind(out, data.frame(response, quantity, term, value = sprintf("%.12g", value)))
for (response in c("fruity", "cereal", "sulphur")) {
  model <- as.formula(paste(response,
    "~ peak_temp_c + still + (1|grower) + (1|batch) + (1|assessor) + (1|assessor:batch)"))
  fit <- lmer(model, season, start = sharpest(model), control = there)
  add(response, "criterion", "", REMLcrit(fit))
  parts <- as.data.frame(VarCorr(fit))
  add(response, "sd", parts$grp, parts$sdcor)
  table <- coef(summary(fit))
  for (column in colnames(table)) add(response, column, rownames(table), table[, column])
  tests <- anova(fit)
  for (column in c("F value", "DenDF", "Pr(>F)")) add(response, column, rownames(tests), tests[, column])
  modes <- as.data.frame(ranef(fit, condVar = TRUE))
  modes <- modes[modes$grpvar != "assessor:batch" | as.integer(modes$grp) %% 10 == 1, ]
  add(response, paste("mode", modes$grpvar), as.character(modes$grp), modes$condval)
  add(response, paste("se", modes$grpvar), as.character(modes$grp), modes$condsd)
  if (response == "fruity") {
    ends <- suppressMessages(confint(lme4::lmer(model, season), oldNames = FALSE))
    add(response, "low", rownames(ends), ends[, 1])
    add(response, "high", rownames(ends), ends[, 2])
  }
}
write.csv(out, "expected.csv", row.names = FALSE, quote = TRUE)
