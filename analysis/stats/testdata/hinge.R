# Regenerates hinge.csv (readings) and hinge_fit.csv: onset, standard error, level and slope of a
# level line that turns into a ramp, by R's package segmented (V. M. R. Muggeo).
# Run in this folder: Rscript hinge.R
library(segmented)
set.seed(5)
data <- data.frame(); fit <- data.frame()
for (case in 1:6) {
  n <- c(40, 60, 25, 80, 30, 50)[case]; slope <- c(2.5, 0.6, 4, 0.3, 1.5, 1)[case]
  t <- sort(runif(n, 0, 15)); onset <- c(5, 4, 6, 5, 3, 7)[case]
  y <- round((2 + slope*pmax(0, t-onset) + rnorm(n, 0, c(0.2,0.5,0.3,0.4,0.2,0.6)[case]))*1.28)/1.28
  data <- rbind(data, data.frame(case, t, y))
  base <- lm(y ~ 1)
  s <- segmented(base, seg.Z=~t, psi=onset, control=seg.control(n.boot=50, tol=1e-10))
  fit <- rbind(fit, data.frame(case, psi=s$psi[,"Est."], se=s$psi[,"St.Err"], level=coef(s)[[1]], slope=coef(s)[[2]]))
}
write.csv(data, "hinge.csv", row.names=FALSE); write.csv(fit, "hinge_fit.csv", row.names=FALSE)
print(fit)
