# Rscript diagnostics.R > diagnostics.csv
# Fixed sequences of 0 and 1. Runs: every order of as many zeros and ones up to 14 outcomes is counted one by one
# (combn), beyond that the closed form with choose(). Longest runs: all 2^n sequences up to n = 14. Trend: wilcox.test on
# the trial numbers, and prop.trend.test, the score test of the logistic regression. Halves: fisher.test. Bias: binom.test.
runs_of <- function(x) 1 + sum(x[-1] != x[-length(x)])
runs_p <- function(x) {
  n <- length(x); k <- sum(x)
  if (k == 0 || k == n) return(c(NA, NA))
  if (n <= 14) {
    r <- apply(combn(n, k), 2, function(i) { y <- integer(n); y[i] <- 1; runs_of(y) })
    return(c(mean(r <= runs_of(x)), mean(r >= runs_of(x))))
  }
  p <- function(r) { h <- r %/% 2; a <- k; b <- n - k
    if (r %% 2 == 0) 2 * choose(a-1, h-1) * choose(b-1, h-1) / choose(n, k)
    else (choose(a-1, h) * choose(b-1, h-1) + choose(a-1, h-1) * choose(b-1, h)) / choose(n, k) }
  all <- sapply(2:n, p)
  c(sum(all[2:n <= runs_of(x)]), sum(all[2:n >= runs_of(x)]))
}
longest <- function(x) max(rle(x)$lengths)
longest_p <- function(x) {
  n <- length(x)
  if (n > 14) return(NA)
  mean(apply(expand.grid(rep(list(0:1), n)), 1, longest) >= longest(x))
}
sequences <- c("111110110100", "000011111111", "010101010101", "0110100110", "11111000001111100000",
  "1011011101011110", "1111111111110000", "0001011011111111", "10110111010111100101101101110111010110",
  "0000100101101011011101101111111111111111", "1100110011001100", "10", "1000000000", "11010111011011010111")
cat("sequence,runs,p_few,p_many,longest,p_longest,first_right,second_right,p_halves,z,p_trend,p_bias\n")
for (s in sequences) {
  x <- as.integer(strsplit(s, "")[[1]]); n <- length(x); h <- n %/% 2; i <- seq_along(x)
  p <- runs_p(x)
  halves <- fisher.test(rbind(c(sum(x[1:h]), h - sum(x[1:h])), c(sum(x[-(1:h)]), n - h - sum(x[-(1:h)]))))$p.value
  trend <- wilcox.test(i[x == 1], i[x == 0], exact = TRUE)$p.value
  rao <- unname(prop.trend.test(x, rep(1, n), i)$statistic)
  z <- sqrt(rao) * sign(mean(i[x == 1]) - mean(i[x == 0]))
  cat(s, runs_of(x), sprintf("%.15g", p), longest(x), sprintf("%.15g", longest_p(x)), sum(x[1:h]), sum(x[-(1:h)]),
    sprintf("%.12g", c(halves, z, trend, binom.test(sum(x), n)$p.value)), sep = ",")
  cat("\n")
}
