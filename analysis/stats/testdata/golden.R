# Regenerates golden.csv: R with MASS (rlm), sandwich (NeweyWest), boot (tsboot).
# Run in this folder: Rscript golden.R
suppressMessages({library(MASS); library(sandwich); library(boot)})
out <- data.frame(what=character(), value=numeric())
put <- function(what, value) out[nrow(out)+1,] <<- list(what, value)

# Quantiles of Student's t.
for (df in c(2.5,3,5,9.7,30,200)) for (p in c(0.9,0.975,0.995,0.9999)) put(sprintf("qt %g %g", p, df), qt(p, df))

# A map with outliers and autocorrelated noise, x = airflow.
set.seed(7)
n <- 240
x <- round(3 + 20*runif(n)^2, 2)
e <- as.numeric(arima.sim(list(ar=0.7), n))
y <- round(20/x + 1 - 0.1*x + e + ifelse(runif(n)<0.05, 15, 0), 3)
write.csv(data.frame(x, y), "map.csv", row.names=FALSE)
h <- rlm(y ~ I(1/x) + x, k=1.345, maxit=200, acc=1e-12)
o <- lm(y ~ I(1/x) + x)
for (i in 1:3) {
  put(sprintf("rlm coef %d", i-1), coef(h)[[i]])
  put(sprintf("ols coef %d", i-1), coef(o)[[i]])
  for (l in c(0, 4, 12)) {
    put(sprintf("rlm nw%d se %d", l, i-1), sqrt(NeweyWest(h, lag=l, prewhite=FALSE, adjust=FALSE)[i,i]))
    put(sprintf("ols nw%d se %d", l, i-1), sqrt(NeweyWest(o, lag=l, prewhite=FALSE, adjust=FALSE)[i,i]))
  }
}
put("rlm scale", h$s)
# Standard error of a mean by circular block bootstrap.
for (d in list(list("LakeHuron", as.numeric(LakeHuron)), list("Nile", as.numeric(Nile)))) for (l in c(5, 10)) {
  b <- tsboot(d[[2]], mean, R=20000, l=l, sim="fixed")
  put(sprintf("tsboot %s %d", d[[1]], l), sd(b$t))
  write.csv(data.frame(y=d[[2]]), sprintf("%s.csv", d[[1]]), row.names=FALSE)
}
out$value <- sprintf("%.10g", out$value)
write.csv(out, "golden.csv", row.names=FALSE, quote=FALSE)
# Longley's data as NIST prints them (R keeps them in other units).
l <- transform(longley, GNP=GNP*1000, Unemployed=Unemployed*10, Armed.Forces=Armed.Forces*10, Population=Population*1000, Employed=Employed*1000)
write.csv(l, "longley.csv", row.names=FALSE)
# Michelson's speeds of light, 1000 km/s, as NIST's Michelso has them.
write.csv(data.frame(y=(299000+morley$Speed)/1000), "michelso.csv", row.names=FALSE)
