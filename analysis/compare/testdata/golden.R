# Regenerates before.csv, after.csv and golden.csv: two made-up recordings of a reading
# a second, and the standard errors of the means of their conditions by R's circular
# block bootstrap. Run in this folder: Rscript golden.R
suppressMessages(library(boot))
set.seed(11)
make <- function(n, shift) {
  cell <- rep(rep(1:3, times=n), times=rep(c(40, 60, 25), length.out=3*n))
  e <- as.numeric(arima.sim(list(ar=0.6), length(cell)))
  rpm <- c(800, 1800, 2300)[cell]; load <- c(25, 30, 50)[cell]
  total <- round(c(10, 4, 1)[cell]*shift + e, 4)
  data.frame(t=seq_along(cell), rpm, load, total)
}
d <- list(before=make(8, 1), after=make(9, 0.2))
out <- data.frame(side=character(), rpm=numeric(), mean=numeric(), se=numeric())
for (s in names(d)) {
  x <- d[[s]]
  write.csv(x, paste0(s, ".csv"), row.names=FALSE, quote=FALSE)
  l <- max(ceiling(nrow(x)^(1/3)), 20)
  mean_at <- function(y) { at <- y[,"rpm"]; total <- y[,"total"]; c(mean(total[at==800]), mean(total[at==1800]), mean(total[at==2300])) }
  b <- tsboot(as.matrix(x), mean_at, R=20000, l=l, sim="fixed")
  for (i in 1:3) out[nrow(out)+1,] <- list(s, c(800,1800,2300)[i], b$t0[[i]], sd(b$t[,i], na.rm=TRUE))
}
out$mean <- sprintf("%.8f", out$mean); out$se <- sprintf("%.6f", out$se)
write.csv(out, "golden.csv", row.names=FALSE, quote=FALSE)
