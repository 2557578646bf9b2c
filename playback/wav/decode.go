package wav

import (
	"encoding/binary"
	"math"
)

// The decoders fill dst with the samples that begin at every step-th byte of raw, full scale ±1.0.
// Scaling by a power of two is exact, so that a written word is read back unchanged.

func decode16(dst []float64, raw []byte, step int) {
	for i := range dst {
		dst[i] = float64(int16(binary.LittleEndian.Uint16(raw[i*step:]))) * 0x1p-15
	}
}

func decode24(dst []float64, raw []byte, step int) {
	for i := range dst {
		b := raw[i*step : i*step+3 : i*step+3]
		// Placed in the upper three bytes of a 32-bit word, so that the sign is the word's own.
		dst[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) * 0x1p-31
	}
}

func decode32(dst []float64, raw []byte, step int) {
	for i := range dst {
		dst[i] = float64(int32(binary.LittleEndian.Uint32(raw[i*step:]))) * 0x1p-31
	}
}

// decodeFloat returns the index of the first sample that is NaN or infinite, or −1.
func decodeFloat(dst []float64, raw []byte, step int) int {
	const exponent = 0x7F800000 // all ones: NaN or infinite
	for i := range dst {
		bits := binary.LittleEndian.Uint32(raw[i*step:])
		if bits&exponent == exponent {
			return i
		}
		dst[i] = float64(math.Float32frombits(bits))
	}
	return -1
}
