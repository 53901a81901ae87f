/*
 * buffers.c: queues of words, buffers that grow, what the host saw, and why something failed.
 */
#include "controller.h"

#include <stdio.h>
#include <stdlib.h>

void queue_push(word_queue *queue, uint32_t word)
{
    queue->words[(queue->first + queue->count++) % MAX_FIFO_WORDS] = word;
}

uint32_t queue_pop(word_queue *queue)
{
    uint32_t word = queue->words[queue->first];
    queue->first = (queue->first + 1) % MAX_FIFO_WORDS;
    queue->count--;
    return word;
}

uint32_t *queue_at(word_queue *queue, uint32_t place)
{
    return &queue->words[(queue->first + place) % MAX_FIFO_WORDS];
}

/* Doubles a buffer until `needed` elements fit. On failure the old buffer stays. */
bool make_room(void **buffer, size_t *room, size_t needed, size_t element_size)
{
    size_t larger = *room > 0 ? *room : 64;
    while (larger < needed) {
        if (larger > SIZE_MAX / 2 / element_size) return false;
        larger *= 2;
    }
    if (larger == *room) return true;
    void *moved = realloc(*buffer, larger * element_size);
    if (moved == NULL) return false;
    *buffer = moved;
    *room = larger;
    return true;
}

void report(controller *self, uint32_t kind, uint32_t number, uint64_t value, bool flag)
{
    item_buffer *items = &self->items;
    if (items->count == items->room) {
        void *list = items->list;
        if (!make_room(&list, &items->room, items->count + 1, sizeof *items->list)) {
            self->failed = true;
            return;
        }
        items->list = list;
    }
    items->list[items->count++] = (tp_item){
        .at_ns = self->now_ns, .kind = kind, .transfer = number, .flag = flag, .value = value};
}

int32_t fail(controller *self, const char *what, const char *where, int64_t value)
{
    snprintf(self->error, sizeof self->error, "%s: %s, got %lld", where, what, (long long)value);
    return TP_FAIL;
}
