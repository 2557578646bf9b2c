package device

import (
	"sync"
	"time"

	"heardiff/playback"
	"heardiff/playback/pcm"
)

// pace is the interval at which a paced output pulls; a file is therefore written a hundred times a second (judgement, no
// source; no figure depends on it).
const pace = 10 * time.Millisecond

// late is how far a paced output may fall behind before it counts an underrun and skips the lost time, as a sound card
// would: a suspended machine must not be followed by a burst (judgement, no source; no figure depends on it).
const late = 200 * time.Millisecond

// paced pulls from a source at the pace of a sound card and passes every block to sink.
type paced struct {
	src    playback.Source
	sink   func([]float32) error
	finish func() error
	opened playback.Opened
	quit   chan struct{}
	done   chan struct{}
	once   sync.Once

	mu        sync.Mutex
	err       error
	underruns int
}

func startPaced(src playback.Source, o playback.Opened, sink func([]float32) error, finish func() error) *paced {
	p := &paced{src: src, sink: sink, finish: finish, opened: o, quit: make(chan struct{}), done: make(chan struct{})}
	go p.run()
	return p
}

func (p *paced) run() {
	defer close(p.done)
	rate, channels := p.src.Rate(), p.src.Channels()
	buf := make([]float32, rate.Frames(pace)*channels)
	tick := time.NewTicker(pace)
	defer tick.Stop()
	begun, played := time.Now(), 0
	for {
		select {
		case <-p.quit:
			return
		case <-tick.C:
		}
		due := framesIn(rate, time.Since(begun))
		if due-played > rate.Frames(late) {
			p.mu.Lock()
			p.underruns++
			p.mu.Unlock()
			begun, played, due = time.Now(), 0, rate.Frames(pace)
		}
		for played < due {
			n := min(due-played, len(buf)/channels)
			p.src.Fill(buf[:n*channels])
			if err := p.sink(buf[:n*channels]); err != nil {
				p.mu.Lock()
				p.err = err
				p.mu.Unlock()
				return
			}
			played += n
		}
	}
}

// framesIn returns the number of complete frames in d.
func framesIn(rate pcm.Rate, d time.Duration) int { return int(d.Seconds() * rate.Hz()) }

// Opened implements playback.Output.
func (p *paced) Opened() playback.Opened { return p.opened }

// Underruns implements playback.Output: it counts how many times the machine stalled for longer than late.
func (p *paced) Underruns() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.underruns
}

// Err implements playback.Output.
func (p *paced) Err() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err
}

// Close implements playback.Output.
func (p *paced) Close() error {
	p.once.Do(func() {
		close(p.quit)
		<-p.done
		if err := p.finish(); err != nil && p.err == nil {
			p.err = err
		}
	})
	return p.Err()
}

// openNull returns an output that discards the audio in real time.
func openNull(src playback.Source) playback.Output {
	o := playback.Opened{Name: "null", Rate: src.Rate(), Channels: src.Channels(), Format: floatWords, Silent: true,
		Notes: []string{"Nothing sounds: the audio is thrown away in real time."}}
	return startPaced(src, o, func([]float32) error { return nil }, func() error { return nil })
}
