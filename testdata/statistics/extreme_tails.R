# extreme tails, log10, R's log-scale distribution function
cat("n,k,p0,log10_p\n")
for (n in c(16,100,1000,2000,100000)) for (q in c(.5,.55,.6,.75,.9,1)) { k <- round(q*n); for (p0 in c(1/2,1/3)) cat(sprintf("%d,%d,%.17g,%.15g\n", n,k,p0, pbinom(k-1,n,p0,lower.tail=FALSE,log.p=TRUE)/log(10))) }
