/* Channel bits that are known and not yet given. */
#include "separator.h"
#include <stdlib.h>

/* Half a minute of flux at 2 us; what asks for more at once is not a slice of time. */
#define MOST_WAITING ((size_t)1 << 24)

static bool grow(waiting *w)
{
    size_t room = w->room ? 2 * w->room : 1024;
    uint8_t *bits = room <= MOST_WAITING ? malloc(room) : NULL;
    if (!bits)
        return false;
    for (size_t i = 0; i < w->count; i++)
        bits[i] = w->bits[(w->first + i) % w->room];
    free(w->bits);
    w->bits = bits;
    w->room = room;
    w->first = 0;
    return true;
}

void bits_put(waiting *w, uint8_t bit)
{
    if (w->count == w->room && !grow(w)) {
        w->overflow = true;
        return;
    }
    w->bits[(w->first + w->count++) % w->room] = bit;
}

uint32_t bits_take(waiting *w, uint8_t *packed, uint32_t capacity)
{
    uint32_t taken = 0;
    for (; taken < capacity && w->count > 0; taken++, w->count--) {
        if (w->bits[w->first])
            packed[taken / 8] |= (uint8_t)(0x80 >> taken % 8);
        w->first = (w->first + 1) % w->room;
    }
    return taken;
}
