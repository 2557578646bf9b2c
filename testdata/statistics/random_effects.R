# random-effects meta-analysis, base R only: closed form of DerSimonian and Laird; REML as the zero of the score
# (y'PPy - tr P)/2 with P = W - W1(1'W1)^-1 1'W written out as matrices; Q profile by uniroot on pchisq.
cat("dataset,method,tau2,i2,h2,mean,se,wald_lo,wald_hi,hk_lo,hk_hi,pi_lo,pi_hi,q,df,p,tau2_lo,tau2_hi\n")
P <- function(v, t) { W <- diag(1/(v+t)); o <- matrix(1, length(v), 1); W - W %*% o %*% solve(t(o) %*% W %*% o) %*% t(o) %*% W }
one <- function(name, y, v) {
  k <- length(y); y <- matrix(y, k, 1); tol <- 1e-15
  Q <- function(t) drop(t(y) %*% P(v, t) %*% y)
  score <- function(t) { p <- P(v, t); drop(t(y) %*% p %*% p %*% y) - sum(diag(p)) }
  dl <- max(0, (Q(0) - (k-1)) / sum(diag(P(v, 0))))
  reml <- if (score(0) <= 0) 0 else uniroot(score, c(0, 100), tol=tol, maxiter=10000)$root
  lo <- if (Q(0) <= qchisq(.975, k-1)) 0 else uniroot(function(t) Q(t) - qchisq(.975, k-1), c(0, 1000), tol=tol, maxiter=10000)$root
  hi <- if (Q(0) <= qchisq(.025, k-1)) 0 else uniroot(function(t) Q(t) - qchisq(.025, k-1), c(0, 1000), tol=tol, maxiter=10000)$root
  typical <- (k-1) / sum(diag(P(v, 0)))
  for (m in c("common", "dl", "reml")) {
    t <- c(common=0, dl=dl, reml=reml)[[m]]; w <- 1/(v+t); mu <- sum(w*y)/sum(w); se <- sqrt(1/sum(w))
    hk <- qt(.975, k-1) * sqrt(Q(t)/(k-1)/sum(w)); pi <- if (k > 2) qt(.975, k-2) * sqrt(t + se^2) else NaN; z <- qnorm(.975)*se
    cat(sprintf("%s,%s%s\n", name, m, paste0(sprintf(",%.15g", c(t, t/(t+typical), t/typical+1, mu, se, mu-z, mu+z, mu-hk, mu+hk, mu-pi, mu+pi, Q(0), k-1, pchisq(Q(0), k-1, lower.tail=FALSE), lo, hi)), collapse="")))
  }
}
d <- read.csv("random_effects_data.csv")
for (s in unique(d$dataset)) { x <- d[d$dataset == s,]; one(s, x$estimate, x$variance) }
