# Rscript ratings.R > ratings.csv
# Ratings of low and high trials (invented, but for the first: six-point ratings of 375 new and 375 old odours, Macmillan &
# Creelman 2005, chapter 3, strictest last). Area: wilcox.test's statistic over the number of pairs. SE: the placements of
# DeLong, DeLong & Clarke-Pearson 1988. p: every division counted (combn) up to 16 trials, else wilcox.test, normal, without
# correction for continuity.
low <- list(rep(1:6, c(62, 101, 117, 50, 38, 7)), c(-4,-3,-3,-1,2,-2,1,-4), c(1,1,2,3), c(-2,-1,-1,1,3,-4,-4), c(1,2,2,2,3,3,4,1,2),
  c(1,1,2,2,1,1), c(3), rep(c(-4,-2,-1,1,2,4), c(30,40,50,30,20,10)))
high <- list(rep(1:6, c(4, 22, 53, 72, 112, 112)), c(4,3,1,-1,2,4,-2,3), c(2,4,4,3,4), c(1,2,-1,4,4,-3,1,2), c(3,4,4,2,1),
  c(3,3,4,4,4,3), c(1,2,4,4), rep(c(-4,-2,-1,1,2,4), c(10,20,30,40,50,30)))
area <- function(l, h) suppressWarnings(unname(wilcox.test(h, l)$statistic)) / length(l) / length(h)
cat("low,high,area,se,p,exact\n")
for (i in seq_along(low)) {
  l <- low[[i]]; h <- high[[i]]
  place <- function(x, y) sapply(x, function(v) mean((v > y) + (v == y) / 2))
  variance <- function(x) if (length(x) < 2) 0 else var(x) / length(x)
  se <- sqrt(variance(place(h, l)) + variance(1 - place(l, h)))
  all <- c(l, h); exact <- length(all) <= 16
  p <- if (exact) { r <- rank(all); mean(combn(length(all), length(h), function(j) sum(r[j])) >= sum(rank(all)[-seq_along(l)]) - 1e-9) }
       else suppressWarnings(wilcox.test(h, l, alternative = "greater", exact = FALSE, correct = FALSE)$p.value)
  cat(paste(l, collapse = " "), paste(h, collapse = " "), sprintf("%.12g", c(area(l, h), se, p)), exact, sep = ",")
  cat("\n")
}
