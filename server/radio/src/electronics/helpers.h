#include <stddef.h>
#include <stdint.h>

#ifndef LOFTWATCH_HELPERS
#define LOFTWATCH_HELPERS
#ifdef __GNUC__
#define LW_FUNCTION static __attribute__((unused))
#else
#define LW_FUNCTION static
#endif

/* Bytes on their way out. What does not fit sets full. */
typedef struct {
    uint8_t *to;
    size_t size, used;
    int full;
} lw_out;

LW_FUNCTION void lw_byte(lw_out *o, unsigned value) {
    if (o->used < o->size) o->to[o->used++] = (uint8_t)(value & 0xffu);
    else o->full = 1;
}

LW_FUNCTION void lw_bytes(lw_out *o, const uint8_t *from, size_t count) {
    size_t i;
    for (i = 0; i < count; i++) lw_byte(o, from[i]);
}

/* An integer of so many bytes. Negative ones come as two's complement. */
LW_FUNCTION void lw_integer(lw_out *o, uint64_t value, int bytes, int big_endian) {
    int i;
    for (i = 0; i < bytes; i++) {
        lw_byte(o, (unsigned)(value >> (8 * (big_endian ? bytes - 1 - i : i))));
    }
}

LW_FUNCTION uint64_t lw_unsigned(double value, uint64_t most) {
    if (!(value > 0.0)) return 0;
    if (value >= (double)most) return most;
    return (uint64_t)(value + 0.5);
}

LW_FUNCTION int64_t lw_signed(double value, int64_t least, int64_t most) {
    if (value != value) return 0;
    if (value <= (double)least) return least;
    if (value >= (double)most) return most;
    return (int64_t)(value < 0.0 ? value - 0.5 : value + 0.5);
}

LW_FUNCTION uint64_t lw_least(uint64_t value, uint64_t most) {
    return value > most ? most : value;
}

LW_FUNCTION int64_t lw_clamp(int64_t value, int64_t least, int64_t most) {
    return value < least ? least : value > most ? most : value;
}

/* The same where one stored value says "no value": what is measured never becomes it, but the nearest that is not. */
LW_FUNCTION uint64_t lw_unsigned_but(double value, uint64_t most, uint64_t no) {
    uint64_t stored = lw_unsigned(value, most);
    if (stored != no) return stored;
    return no == most || (no > 0 && value < (double)no) ? no - 1 : no + 1;
}

LW_FUNCTION int64_t lw_signed_but(double value, int64_t least, int64_t most, int64_t no) {
    int64_t stored = lw_signed(value, least, most);
    if (stored != no) return stored;
    return no == most || (no > least && value < (double)no) ? no - 1 : no + 1;
}

LW_FUNCTION uint64_t lw_least_but(uint64_t value, uint64_t most, uint64_t no) {
    return value > most && most == no ? most - 1 : lw_least(value, most);
}

LW_FUNCTION int64_t lw_clamp_but(int64_t value, int64_t least, int64_t most, int64_t no) {
    int64_t stored = lw_clamp(value, least, most);
    if (stored != no || value == no) return stored;
    return no == most ? no - 1 : no + 1;
}

LW_FUNCTION uint32_t lw_float_bits(float value) {
    union { float value; uint32_t bits; } as;
    as.value = value;
    return as.bits;
}

LW_FUNCTION uint64_t lw_double_bits(double value) {
    union { double value; uint64_t bits; } as;
    as.value = value;
    return as.bits;
}

/* IEEE 754 binary16, rounded to the nearest, ties to even. */
LW_FUNCTION uint16_t lw_half_bits(float value) {
    uint32_t bits = lw_float_bits(value);
    uint32_t sign = (bits >> 16) & 0x8000u, fraction = bits & 0x7fffffu, half, rest, middle;
    int exponent = (int)((bits >> 23) & 0xffu) - 127, shift;
    if (exponent == 128) return (uint16_t)(sign | (fraction ? 0x7e00u : 0x7c00u));
    if (exponent < -25) return (uint16_t)sign;
    fraction |= 0x800000u;
    shift = exponent < -14 ? -exponent - 1 : 13;
    half = fraction >> shift;
    rest = fraction & ((UINT32_C(1) << shift) - 1u);
    middle = UINT32_C(1) << (shift - 1);
    if (rest > middle || (rest == middle && (half & 1u))) half++;
    if (exponent >= -14) half += (uint32_t)(exponent + 14) << 10;
    if (half > 0x7c00u) half = 0x7c00u;
    return (uint16_t)(sign | half);
}

LW_FUNCTION void lw_digits(lw_out *o, uint64_t value) {
    char digits[20];
    int count = 0;
    do {
        digits[count++] = (char)('0' + (int)(value % 10u));
        value /= 10u;
    } while (value > 0);
    while (count > 0) lw_byte(o, (unsigned char)digits[--count]);
}

LW_FUNCTION void lw_whole(lw_out *o, int64_t value) {
    if (value < 0) lw_byte(o, '-');
    lw_digits(o, value < 0 ? (uint64_t)0 - (uint64_t)value : (uint64_t)value);
}

/* A decimal number with up to seven decimals. No value (not a number) is nothing at all. */
LW_FUNCTION void lw_decimal(lw_out *o, double value) {
    uint64_t whole, part;
    int places = 7;
    if (value != value) return;
    if (value < 0.0) {
        lw_byte(o, '-');
        value = -value;
    }
    if (value > 1.8e19) value = 1.8e19;
    whole = (uint64_t)value;
    part = (uint64_t)((value - (double)whole) * 1e7 + 0.5);
    if (part >= 10000000u) {
        part = 0;
        whole++;
    }
    lw_digits(o, whole);
    if (part == 0) return;
    while (part % 10u == 0) {
        part /= 10u;
        places--;
    }
    lw_byte(o, '.');
    {
        uint64_t ten = 1;
        while (--places > 0) ten *= 10u;
        for (; ten > 0; ten /= 10u) lw_byte(o, (unsigned)('0' + (int)(part / ten % 10u)));
    }
}

LW_FUNCTION void lw_hex(lw_out *o, unsigned byte) {
    const char *digits = "0123456789ABCDEF";
    lw_byte(o, (unsigned char)digits[(byte >> 4) & 15u]);
    lw_byte(o, (unsigned char)digits[byte & 15u]);
}

/* Text inside a line or an object. Sent as '_': what would end it (control characters, and those to avoid), and bytes that
 * are no UTF-8, with which the whole line would be none. */
LW_FUNCTION void lw_text(lw_out *o, const char *text, size_t most, const char *avoid) {
    const uint8_t *from = (const uint8_t *)text, *no = (const uint8_t *)avoid;
    size_t i = 0, j, k, count;
    while (i < most && from[i] != 0) {
        unsigned first = from[i], second;
        int good = first >= 0x20u && first != 0x7fu;
        count = first < 0x80u ? 1 : first < 0xc2u ? 0 : first < 0xe0u ? 2 : first < 0xf0u ? 3 : first < 0xf5u ? 4 : 0;
        if (count == 0 || count > most - i) good = 0, count = 1;
        for (j = 1; good && j < count; j++) {
            if ((from[i + j] & 0xc0u) != 0x80u) good = 0;
        }
        if (good && count > 2) {
            second = from[i + 1];
            if ((first == 0xe0u && second < 0xa0u) || (first == 0xedu && second >= 0xa0u)) good = 0;
            if ((first == 0xf0u && second < 0x90u) || (first == 0xf4u && second >= 0x90u)) good = 0;
        }
        if (!good) {
            lw_byte(o, '_');
            i++;
            continue;
        }
        for (k = 0; good && no[k] != 0; k++) {
            for (j = 0; j < count && no[k + j] == from[i + j]; j++) {}
            if (j == count) good = 0;
        }
        if (good) lw_bytes(o, from + i, count);
        else lw_byte(o, '_');
        i += count;
    }
}

/* A major type of CBOR with its number. */
LW_FUNCTION void lw_head(lw_out *o, unsigned major, uint64_t value) {
    if (value < 24u) lw_byte(o, major << 5 | (unsigned)value);
    else if (value <= 0xffu) lw_byte(o, major << 5 | 24u), lw_integer(o, value, 1, 1);
    else if (value <= 0xffffu) lw_byte(o, major << 5 | 25u), lw_integer(o, value, 2, 1);
    else if (value <= 0xffffffffu) lw_byte(o, major << 5 | 26u), lw_integer(o, value, 4, 1);
    else lw_byte(o, major << 5 | 27u), lw_integer(o, value, 8, 1);
}
#endif
