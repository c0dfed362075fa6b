# Regenerates cusum.csv: run lengths of a one-sided CUSUM by the integral equation, and the
# chance of an alarm within n values, with R's package spc (S. Knoth).
# Run in this folder: Rscript cusum.R
library(spc)
out <- data.frame(what=character(), k=numeric(), h=numeric(), x=numeric(), value=numeric())
put <- function(...) out[nrow(out)+1,] <<- list(...)
for (k in c(0.25, 0.5, 0.75, 1)) for (h in c(3, 4, 5, 8)) for (shift in c(0, 0.5, 1, 2))
  put("run length", k, h, shift, xcusum.arl(k, h, shift, sided="one", r=100))
for (k in c(0.5, 1)) for (h in c(4, 5, 6, 8)) for (n in c(5, 15, 30, 75))
  put("alarm within", k, h, n, 1-xcusum.sf(k, h, 0, n, r=100)[n])
write.csv(out, "cusum.csv", row.names=FALSE)
