package trend

// PAVA is the non-decreasing sequence nearest to y in least squares, by
// pooling adjacent violators: Ayer et al. 1955, Ann Math Stat 26:641–647. For
// a non-increasing one negate y before and after.
func PAVA(y []float64) []float64 {
	type pool struct {
		sum, n float64
	}
	var pools []pool
	for _, v := range y {
		pools = append(pools, pool{v, 1})
		for k := len(pools) - 1; k > 0 && pools[k-1].sum/pools[k-1].n > pools[k].sum/pools[k].n; k-- {
			pools[k-1].sum += pools[k].sum
			pools[k-1].n += pools[k].n
			pools = pools[:k]
		}
	}
	out := make([]float64, 0, len(y))
	for _, p := range pools {
		for range int(p.n) {
			out = append(out, p.sum/p.n)
		}
	}
	return out
}
