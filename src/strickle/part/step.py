def read_step(data, name):
    raise NotImplementedError
