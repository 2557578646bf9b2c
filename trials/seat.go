package trials

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
)

// Seat says who listens, in which study, and through which device when the session begins. It is part of the first entry,
// and the session's seal covers it: once the seal is known, the answers cannot be passed off as somebody else's. Old
// sessions, whose seal covers no seat, have the zero Seat.
type Seat struct {
	Study string `json:"study"`
	// Listener is the name at the site where the session was run.
	Listener string `json:"listener"`
	Device   string `json:"device,omitempty"`
	// Salt keeps the device from being guessed from its digest once device and salt are withheld.
	Salt string `json:"salt,omitempty"`
	// DeviceDigest is the SHA-256, hexadecimal, over Salt and Device.
	DeviceDigest string `json:"device_sha256"`
}

// NewSeat returns the seat of a session that begins.
func NewSeat(study, listener, device string) Seat {
	s := Seat{Study: study, Listener: listener, Device: device, Salt: rand.Text()}
	s.DeviceDigest = s.deviceDigest()
	return s
}

func (s Seat) deviceDigest() string {
	sum := sha256.Sum256([]byte(s.Salt + s.Device))
	return hex.EncodeToString(sum[:])
}

// sealed returns the part of the seat that a seal covers: 32 bytes, or none if s is nil.
func (s *Seat) sealed() []byte {
	if s == nil {
		return nil
	}
	covered := Seat{Study: s.Study, Listener: s.Listener, DeviceDigest: s.DeviceDigest}
	data, err := json.Marshal(covered)
	if err != nil {
		panic("trials: a seat that cannot be encoded: " + err.Error()) // plain fields: cannot happen
	}
	sum := sha256.Sum256(data)
	return sum[:]
}

// intact reports whether the device matches the digest, or is withheld.
func (s *Seat) intact() bool {
	return s == nil || s.Device == "" && s.Salt == "" || s.DeviceDigest == s.deviceDigest()
}

// implausible returns an error for a seat that this program cannot have written.
func (s *Seat) implausible() error {
	if s == nil {
		return nil
	}
	for what, text := range map[string]string{"study": s.Study, "device": s.Device, "salt": s.Salt, "digest": s.DeviceDigest} {
		if err := CheckText(what, text); err != nil {
			return err
		}
	}
	return CheckName("listener", s.Listener)
}

// withheld returns the seat without the device.
func (s *Seat) withheld() *Seat {
	if s == nil {
		return nil
	}
	return &Seat{Study: s.Study, Listener: s.Listener, DeviceDigest: s.DeviceDigest}
}
