def growths(job, layout, kept, compared):
    return []
