# Regenerates hinge_fit.csv: onset, standard error, level and slope of a level line that turns
# into a ramp, by R's package segmented (V. M. R. Muggeo), from the readings in hinge.csv.
# Those were drawn once: n times in 0 to 15 s, and round((2 + slope*pmax(0, t-onset) +
# rnorm(n, 0, sd))*1.28)/1.28, with n, slope, onset and sd a case.
# Run in this folder: Rscript hinge.R
library(segmented)
set.seed(5) # of segmented's bootstrap restarts
data <- read.csv("hinge.csv")
fit <- data.frame()
for (case in 1:6) {
  d <- data[data$case == case, ]
  onset <- c(5, 4, 6, 5, 3, 7)[case]
  s <- segmented(lm(y ~ 1, d), seg.Z=~t, psi=onset, control=seg.control(n.boot=50, tol=1e-10))
  fit <- rbind(fit, data.frame(case, psi=s$psi[,"Est."], se=s$psi[,"St.Err"], level=coef(s)[[1]], slope=coef(s)[[2]]))
}
write.csv(fit, "hinge_fit.csv", row.names=FALSE)
