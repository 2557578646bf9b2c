# trend tests, base R: prop.trend.test; the exact conditional test by going through every table of the margins;
# cor.test; with ties Kendall's p by going through every order, and cor.test's normal one; isoreg
cat("kind,name,x,y,n,value,p_one,p_two\n")
sp <- function(v) paste(v, collapse=" ")
row <- function(kind, name, x, y, n, value, one, two) cat(sprintf("%s,%s,%s,%s,%s,%s,%.15g,%.15g\n", kind, name, sp(x), sp(y), sp(n), sp(sprintf("%.15g", value)), one, two))
ca <- function(name, s, k, n) {
  p <- sum(k)/sum(n); z <- sum(s*(k-n*p)) / sqrt(p*(1-p)*(sum(n*s^2)-sum(n*s)^2/sum(n)))
  stopifnot(abs(z^2 - prop.trend.test(k, n, s)$statistic) < 1e-9)
  row("armitage", name, s, k, n, z, pnorm(z, lower.tail=FALSE), prop.trend.test(k, n, s)$p.value)
}
exact <- function(name, s, k, n) {
  g <- as.matrix(expand.grid(lapply(n, function(m) 0:m))); g <- g[rowSums(g) == sum(k),,drop=FALSE]
  w <- exp(rowSums(matrix(lchoose(rep(n, each=nrow(g)), g), nrow(g)))); w <- w/sum(w); t <- drop(g %*% s)
  seen <- sum(s*k); mean <- sum(w*t)
  row("exact", name, s, k, n, seen, sum(w[t >= seen-1e-9]), sum(w[abs(t-mean) >= abs(seen-mean)-1e-9]))
}
ca("smokers", 1:4, c(83,90,129,70), c(86,93,136,82)); ca("smokers last", c(0,0,0,1)+1, c(83,90,129,70), c(86,93,136,82))
ca("seven doses", 1:7, c(10,9,12,11,16,15,20), c(20,20,20,20,20,16,20)); ca("flat", 1:4, c(10,11,9,10), rep(20,4))
exact("even", 1:4, c(4,5,7,9), rep(10,4)); exact("uneven", c(1,2,3.7,9), c(4,5,7,9), rep(10,4))
exact("unequal n", c(1,2,4,8), c(3,8,4,11), c(8,16,5,12)); exact("falling", 1:3, c(9,6,2), rep(10,3))
orders <- function(v) if (length(v) < 2) list(v) else do.call(c, lapply(seq_along(v), function(i) lapply(orders(v[-i]), function(r) c(v[i], r))))
S <- function(x, y) sum(sign(outer(x, x, "-")) * sign(outer(y, y, "-")))/2
kt <- function(name, x, y) { a <- cor.test(x, y, method="kendall", exact=TRUE, alternative="greater"); b <- cor.test(x, y, method="kendall", exact=TRUE)
  row("kendall", name, x, y, "", c(b$estimate, S(x, y)), a$p.value, b$p.value) }
every <- function(name, x, y) { s <- S(x, y); all <- sapply(orders(y), function(o) S(x, o))
  row("kendall", name, x, y, "", c(cor(x, y, method="kendall"), s), mean(all >= s), mean(abs(all) >= abs(s))) }
normal <- function(name, x, y) { a <- suppressWarnings(cor.test(x, y, method="kendall", exact=FALSE, alternative="greater")); b <- suppressWarnings(cor.test(x, y, method="kendall", exact=FALSE))
  row("kendall", name, x, y, "", c(b$estimate, S(x, y)), a$p.value, b$p.value) }
kt("tuna", c(44.4,45.9,41.9,53.3,44.7,44.1,50.7,45.2,60.1), c(2.6,3.1,2.5,5.0,3.6,4.0,5.2,2.8,3.8))
kt("falling", 1:6, c(6,5,3,4,2,1)); kt("thirty", 1:30, c(3,1,4,15,9,2,6,5,35,8,97,93,23,84,62,64,33,83,27,95,28,41,71,69,39,37,51,58,20,99))
every("ties eight", c(1,2,2,3,4,4,5,6), c(2,1,3,3,5,4,4,6)); every("ties five", c(1,1,2,3,3), c(5,4,4,6,7))
normal("attitude", attitude$rating, attitude$complaints)
iso <- function(name, y) row("isotonic", name, seq_along(y), y, rep(1, length(y)), isoreg(y)$yf, NaN, NaN)
iso("help page", c(1,0,4,3,3,5,4,2,0)); iso("rising", c(1,2,2,5)); iso("falling", c(5,3,1))
