package study

import (
	"fmt"

	"heardiff/playback/pcm"
	"heardiff/stats/warning"
	"heardiff/stats/wire"
	"heardiff/trials/link"
)

// Measured declares how captures of a kind are measured, with results of type T. It is a Measurer.
type Measured[T any] struct {
	Measure func(pcm.Reader, MeasureOptions) (T, error)
	// Limited returns a result with the limits set by a result of the recording set-up alone.
	Limited  func(result, floor T) (T, error)
	Warnings func(*T) *warning.Warnings
	// Options names what the measurement uses of MeasureOptions: "reference", "bits", "signal-rate", "band" or "spectrum".
	Options []string
	// Curve is drawn from a result where there is no special picture for the kind; nil: nothing is drawn.
	Curve   func(T) Curve
	metrics []metric[T]
	stored  func(data []byte) (T, error) // nil: Stored
}

// Curve is one figure as a function of another, as a picture shows it.
type Curve struct {
	Across, Along string // what X and Y are, with their units
	X, Y          []float64
}

// metric is a figure of a result that "link" compares; false where the result does not hold it.
type metric[T any] struct {
	link.Declared
	of func(T) (link.Figure, bool)
}

// worstOf declares a metric that is read from each channel: the worst channel counts, because a listener who hears one channel hears it.
func worstOf[T, C any](m link.Metric, channels func(T) []C, figure func(C) link.Figure) metric[T] {
	return metric[T]{m.Declare(), func(r T) (link.Figure, bool) { return worstFigure(channels(r), figure), true }}
}

// Stored reads a result as it is stored.
func (k Measured[T]) Stored(data []byte) (T, error) {
	if k.stored != nil {
		return k.stored(data)
	}
	return Stored[T](data)
}

// Capture implements Measurer.
func (k Measured[T]) Capture(r pcm.Reader, o MeasureOptions) (any, error) { return k.Measure(r, o) }

// Against implements Measurer.
func (k Measured[T]) Against(result any, floor []byte) (any, error) {
	limit, err := k.Stored(floor)
	if err != nil {
		return nil, fmt.Errorf("stored measurement of the floor: %w", err)
	}
	return k.Limited(result.(T), limit)
}

// WarningsIn implements Measurer.
func (k Measured[T]) WarningsIn(result any) warning.Warnings {
	r := result.(T)
	return *k.Warnings(&r)
}

// Declared implements Measurer.
func (k Measured[T]) Declared() link.Metrics {
	var all link.Metrics
	for _, m := range k.metrics {
		all = append(all, m.Declared)
	}
	return all
}

// Read implements Measurer.
func (k Measured[T]) Read(result []byte, put func(link.Metric, link.Figure)) error {
	r, err := k.Stored(result)
	if err != nil {
		return err
	}
	k.Figures(r, func(m link.Declared, f link.Figure) { put(m.Metric, f) })
	return nil
}

// Figures passes the declared metrics of a result to put.
func (k Measured[T]) Figures(result T, put func(link.Declared, link.Figure)) {
	for _, m := range k.metrics {
		if figure, ok := m.of(result); ok {
			put(m.Declared, figure)
		}
	}
}

// Any implements Measurer.
func (k Measured[T]) Any() Measured[any] {
	out := Measured[any]{
		Measure: func(r pcm.Reader, o MeasureOptions) (any, error) {
			result, err := k.Measure(r, o)
			return &result, err
		},
		Limited: func(result, floor any) (any, error) {
			limited, err := k.Limited(*held[T](result), *held[T](floor))
			return &limited, err
		},
		Warnings: func(result *any) *warning.Warnings { return k.Warnings(held[T](*result)) },
		Options:  k.Options,
		stored: func(data []byte) (any, error) {
			result, err := k.Stored(data)
			return &result, err
		},
	}
	if k.Curve != nil {
		out.Curve = func(result any) Curve { return k.Curve(*held[T](result)) }
	}
	for _, m := range k.metrics {
		out.metrics = append(out.metrics, metric[any]{m.Declared, func(result any) (link.Figure, bool) { return m.of(*held[T](result)) }})
	}
	return out
}

// held returns a pointer to a result: the pointer that Measured.Any holds, or one to a copy of the value that Measurer.Capture returned.
func held[T any](result any) *T {
	if r, ok := result.(T); ok {
		return &r
	}
	return result.(*T)
}

// Stored reads a result as it is stored.
func Stored[T any](data []byte) (T, error) {
	var r T
	err := wire.Unmarshal(data, &r)
	return r, err
}

// limitedBy turns a function that limits a result in place into one that returns a limited copy.
func limitedBy[T any](set func(*T, T) error) func(T, T) (T, error) {
	return func(result, floor T) (T, error) {
		err := set(&result, floor)
		return result, err
	}
}

// plain turns a measuring function without options into one that takes them.
func plain[T any](measure func(pcm.Reader) (T, error)) func(pcm.Reader, MeasureOptions) (T, error) {
	return func(r pcm.Reader, _ MeasureOptions) (T, error) { return measure(r) }
}
